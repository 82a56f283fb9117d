"""The season store: one DuckDB file, opened with pinned settings, written one transaction a step."""

from pipeline.store.database import Store
from pipeline.store.faults import storage_faults
from pipeline.store.history_copy import take_over_copy, write_copy
from pipeline.store.outputs import clear_leftovers, replaced_folder, scratch_folder, write_bytes
from pipeline.store.steps import StepResult, timed_step

__all__ = [
    "StepResult",
    "Store",
    "clear_leftovers",
    "replaced_folder",
    "scratch_folder",
    "storage_faults",
    "take_over_copy",
    "timed_step",
    "write_bytes",
    "write_copy",
]
