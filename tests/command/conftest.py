"""The command called in this process: what tests of its words need, without the seconds that a process takes to start."""

from __future__ import annotations

import contextlib
import io
import logging
import subprocess
import sys
from collections.abc import Callable, Iterator
from unittest import mock

import pytest

Command = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def called() -> Iterator[Command]:
    """A function that runs `platework WORD...` here and returns exit code, standard output and error as a process would.

    One test of each file at least starts a process of its own all the same.
    """
    loggers = [logging.getLogger(name) for name in ("pipeline", "reports", "schemas")]
    before = [(one, one.handlers[:], one.level, one.propagate) for one in loggers]

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        from pipeline.cli import main

        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n") for _ in range(2))
        code: object = 0
        with (
            mock.patch.object(sys, "argv", ["platework", *words]),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            try:
                main()
            except SystemExit as end:
                code = end.code
        texts = []
        for stream in (out, err):
            stream.flush()
            texts.append(stream.buffer.getvalue().decode("utf-8"))
        return subprocess.CompletedProcess(list(words), int(code or 0), *texts)

    yield run
    for one, handlers, level, propagate in before:
        one.handlers[:] = handlers
        one.setLevel(level)
        one.propagate = propagate
