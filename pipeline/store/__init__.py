"""The season store: one DuckDB file, opened with pinned settings, written one transaction a step."""

from pipeline.store.database import Store
from pipeline.store.outputs import replaced_folder, write_bytes
from pipeline.store.steps import StepResult, timed_step

__all__ = ["StepResult", "Store", "replaced_folder", "timed_step", "write_bytes"]
