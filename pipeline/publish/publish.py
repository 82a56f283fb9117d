"""The publishing step: from scores and facts to the tables that the pages read and people take away."""

from __future__ import annotations

from importlib.metadata import version
from typing import Any

from pipeline.config import RunConfig
from pipeline.errors import StoreError
from pipeline.publish.declared import publish_table
from pipeline.publish.fact_text import drop_fact_text, make_fact_text
from pipeline.publish.mend_text import drop_mend_text, make_mend_text
from pipeline.publish.quarantine import write_quarantine
from pipeline.publish.rule_text import drop_rule_text, make_rule_text
from pipeline.publish.table_files import write_tables
from pipeline.store import StepResult, Store, replaced_folder
from pipeline.store.database import named_sql
from schemas import layer_tables

_SOURCES = (
    "meta.file",
    "meta.reject",
    "meta.mend",
    "meta.finding",
    "meta.ruling_finding",
    "meta.check_result",
    "checked.plate_calls",
    "facts.fct_call",
    "rulings.ruling",
    "scores.call_grade",
    "scores.readiness",
)


def publish_season(config: RunConfig, store: Store) -> StepResult:
    """Make `published.*`, and from it `OUT/tables/` and `OUT/quarantine/`.

    Every table is held against its declaration; the folders take the place of the old ones only once all
    tables stand.

    Raises
    ------
    StoreError
        A step before this one has not been run.
    ContractError
        A published table is not what its declaration says: a fault of this program.
    InputError
        A sheet with rows set aside has changed since it was loaded.
    """
    _refuse_gaps(store)
    tables = layer_tables("published")
    rows = 0
    with store.transaction():
        make_rule_text(store, config.policy.rule_options)
        make_fact_text(store)
        make_mend_text(store)
        for table in tables:
            # DuckDB refuses a bound name that the statement does not use.
            bound = _season_values(config) if table.name == "pub_season" else None
            rows += publish_table(store, table, named_sql(__package__, table.name), bound)
        drop_rule_text(store)
        drop_fact_text(store)
        drop_mend_text(store)
    with replaced_folder(config.out / "tables") as folder:
        write_tables(store, tables, folder, config.policy.title)
    with replaced_folder(config.out / "quarantine") as folder:
        set_aside = write_quarantine(config, store, folder)
    calls = int(store.value("SELECT count(*) FROM facts.fct_call"))
    return StepResult("publish", calls, rows, notes={"tables": len(tables), "set aside": set_aside})


def _refuse_gaps(store: Store) -> None:
    missing = [name for name in _SOURCES if not store.has_table(name)]
    if missing:
        raise StoreError(
            f"there is nothing to publish yet: the season store has no {', '.join(missing)}",
            hint="run the whole season with `platework run`",
        )


def _season_values(config: RunConfig) -> dict[str, Any]:
    policy = config.policy
    return {
        "title": policy.title,
        "association": policy.association,
        "first_day": policy.first_day,
        "last_day": policy.last_day,
        "generated_by": f"platework {version('platework')}",
        "interval": policy.interval,
    }
