"""Run the command in children of one warm process, so that a run which is to be killed need not import anew.

Started as a program: reads one JSON list from each line of standard input, `[log, word, ...]`; forks a child that is
the command with those words, its output going to `log`; prints the child's process id, and when it has ended its exit
status as `os.waitpid` gives it. The first line is done in the process itself, which fills what is kept between runs
(imports, the compiled rules).
"""

from __future__ import annotations

import json
import os
import sys


def command(words: list[str]) -> int:
    """Run the command in this process and return its exit code."""
    from pipeline.cli import main

    sys.argv = ["platework", *words]
    try:
        main()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 0
    return 0


def child(log: str, words: list[str]) -> None:
    """Become the command; never returns."""
    handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    code = 3
    try:
        code = command(words)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def answer(number: int) -> None:
    """Tell the parent a number."""
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()


def serve() -> None:
    """Do what the lines of standard input say."""
    for number, line in enumerate(sys.stdin):
        log, *words = json.loads(line)
        if number == 0:
            answer(os.getpid())
            answer(command(words) << 8)
            continue
        pid = os.fork()
        if pid == 0:
            child(log, words)
        answer(pid)
        answer(os.waitpid(pid, 0)[1])


if __name__ == "__main__":
    serve()
