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
    kept_texts,
    present_state,
)
from decussate.records.store import Store
from decussate.records.written import WrittenText

__all__ = [
    "Entry",
    "ExaminationHead",
    "NotSaved",
    "Receipt",
    "Store",
    "StoredEntry",
    "TestSide",
    "Verdict",
    "WrittenText",
    "acting_as",
    "chosen_path",
    "in_force",
    "kept_texts",
    "present_state",
]
