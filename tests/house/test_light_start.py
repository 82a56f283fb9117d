"""The command answers at once: what takes seconds to import is imported inside the step that needs it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = ("great_expectations", "pandas", "plotly", "scipy")

PROBE = """
import json, sys
{action}
loaded = sorted({{name.partition(".")[0] for name in sys.modules}} & set({heavy!r}))
print(json.dumps(loaded), file=sys.stderr)
"""

ACTIONS = {
    "importing the command line": "import pipeline.cli",
    "platework --help": (
        "import contextlib, io, pipeline.cli\n"
        "sys.argv = ['platework', '--help']\n"
        "said = io.StringIO()\n"
        "with contextlib.redirect_stdout(said), contextlib.suppress(SystemExit):\n"
        "    pipeline.cli.main()\n"
        "assert 'run' in said.getvalue()"
    ),
    "importing the checks": "import pipeline.checks.check, pipeline.checks.after_rulings",
}


def loaded_by(action: str) -> list[str]:
    """Return which of the heavy packages a fresh Python holds after `action`."""
    probe = PROBE.format(action=action, heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stderr.splitlines()[-1])


@pytest.mark.parametrize("action", ACTIONS.values(), ids=ACTIONS.keys())
def test_starting_up_loads_no_heavy_package(action: str) -> None:
    assert loaded_by(action) == []


def test_the_probe_sees_a_heavy_package_where_there_is_one() -> None:
    assert loaded_by("import pandas") == ["pandas"]
