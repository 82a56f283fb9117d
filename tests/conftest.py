"""One run of the demo season for all tests that look at what a run leaves, however many processes share them."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest

SEASON = Path(__file__).parent.parent / "demo_data" / "season"


@pytest.fixture(scope="session")
def outcome(tmp_path_factory):
    """What the run of the demo season did (`pipeline.run.RunOutcome`); its results are for reading only."""
    from pipeline.run import run_season

    if "PYTEST_XDIST_WORKER" not in os.environ:
        return run_season(SEASON, tmp_path_factory.mktemp("demo_run"))
    from filelock import FileLock

    # Every process has a folder of its own in one of the whole session. Who comes first runs, the others wait.
    session = tmp_path_factory.getbasetemp().parent
    told = session / "demo_run.pickle"
    with FileLock(session / "demo_run.lock"):
        if not told.exists():
            told.write_bytes(pickle.dumps(run_season(SEASON, session / "demo_run")))
        return pickle.loads(told.read_bytes())  # noqa: S301 - written above, in this session's own folder
