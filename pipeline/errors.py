"""Every error that a caller may catch.

Each says what is wrong, where, and what to do about it; `exit_code` is what the command returns.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Where:
    """A place in somebody's file: path, and where known line (counted from 1) and column heading."""

    path: Path | str
    line: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        parts = [str(self.path)]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column is not None:
            parts.append(f"column {self.column}")
        return ", ".join(parts)


class PlateworkError(Exception):
    """Base of all errors of this project.

    Parameters
    ----------
    message
        What is wrong and why it matters, in one or two plain sentences.
    where
        The place in the input that the reader should open.
    hint
        What to do next.
    """

    exit_code = 3

    def __init__(self, message: str, *, where: Where | None = None, hint: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        text = f"{self.where}: {self.message}" if self.where else self.message
        return f"{text}\n  To do: {self.hint}" if self.hint else text


class InputError(PlateworkError):
    """Something that the user gave cannot be read or used as it is (exit code 2)."""

    exit_code = 2


class ConfigError(InputError):
    """A setting in `policy.toml` or on the command line is unknown or out of range."""


class ContractError(PlateworkError):
    """A table declaration in `schemas/` is itself at fault."""


class RuleDefinitionError(PlateworkError):
    """A file of the rule catalogue does not say what it must, or says something unknown."""


class RuleConflictError(RuleDefinitionError):
    """Two rules answer one case differently and no order between them is declared."""


class StoreError(PlateworkError):
    """The season store cannot be opened, read or written."""


class StoreBusyError(StoreError):
    """Another process holds the season store."""

    exit_code = 2


class StoreVersionError(StoreError):
    """The season store was written by another version of this program, or by another program."""

    exit_code = 2


class StorageError(PlateworkError):
    """The disk is full or fails while something is written."""


class UnwritableError(PlateworkError):
    """The folder for the results may not be written to."""

    exit_code = 2


class DisagreementError(PlateworkError):
    """Two ways of computing one thing differ: a fault of ours, never the data's."""


MOST_TOLD = 50
"""Most faults of one input that are told at once; a broken sheet may have thousands."""


class FaultsError(InputError):
    """Several faults of one input, collected so that all can be mended at once."""

    def __init__(self, faults: list[PlateworkError]) -> None:
        self.faults = faults
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        told = [f"- {fault}" for fault in faults[:MOST_TOLD]]
        if len(faults) > MOST_TOLD:
            told.append(f"- and {len(faults) - MOST_TOLD:,} more, which are told once these are mended")
        super().__init__(f"{count} in the input:\n" + "\n".join(told))
