"""The store: examinations as histories of entries that only grow, with an audit trail."""

from __future__ import annotations

from decussate.records.answers import ExaminationHead, NotSaved, Receipt
from decussate.records.chain import Verdict, acting_as
from decussate.records.entries import (
    Entry,
    StoredEntry,
    TestSide,
    chosen_path,
    in_force,
    present_state,
)
from decussate.records.store import Store

__all__ = [
    "Entry",
    "ExaminationHead",
    "NotSaved",
    "Receipt",
    "Store",
    "StoredEntry",
    "TestSide",
    "Verdict",
    "acting_as",
    "chosen_path",
    "in_force",
    "present_state",
]
