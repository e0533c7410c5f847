"""The store: examinations as histories of entries that only grow."""

from __future__ import annotations

from decussate.records.entries import (
    Entry,
    StoredEntry,
    TestSide,
    chosen_path,
    in_force,
    present_state,
)
from decussate.records.store import ExaminationHead, NotSaved, Receipt, Store

__all__ = [
    "Entry",
    "ExaminationHead",
    "NotSaved",
    "Receipt",
    "Store",
    "StoredEntry",
    "TestSide",
    "chosen_path",
    "in_force",
    "present_state",
]
