"""One run of the demo season for all tests that look at what a run leaves."""

from __future__ import annotations

from pathlib import Path

import pytest

SEASON = Path(__file__).parent.parent / "demo_data" / "season"


@pytest.fixture(scope="session")
def outcome(tmp_path_factory):
    from pipeline.run import run_season

    return run_season(SEASON, tmp_path_factory.mktemp("demo_run"))
