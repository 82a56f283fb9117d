"""Set-up of logging; called by the command line only."""

from __future__ import annotations

import logging
import sys


def set_up(*, verbose: bool, quiet: bool = False) -> None:
    """Send the project's log lines to standard error; SQL and details only when `verbose`."""
    level = logging.DEBUG if verbose else logging.WARNING if quiet else logging.INFO
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(message)s"))
    for name in ("pipeline", "reports", "schemas"):
        logger = logging.getLogger(name)
        logger.handlers[:] = [handler]
        logger.setLevel(level)
        logger.propagate = False
