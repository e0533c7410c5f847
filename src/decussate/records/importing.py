"""Taking in an export: into an empty store as it was, into any other as new records of its own."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Connection, insert, select
from sqlalchemy.exc import DBAPIError

from decussate.errors import BadInput
from decussate.records.attachments import check_row
from decussate.records.chain import add_link, present_actor, verify
from decussate.records.entries import Entry
from decussate.records.labels import checked_label
from decussate.records.line_files import read_lines
from decussate.records.store import Store
from decussate.records.tables import KINDS, audit
from decussate.records.transfer import Manifest, check_file, file_rows, row_lines

__all__ = ["Imported", "import_records", "is_empty"]

TOGETHER = 1000
"""Rows inserted with one call."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did.

    Parameters
    ----------
    manifest : Manifest
        Of the export.
    added : int
        Rows that are new in the store.
    already : int
        Rows that were in the store, the same letter for letter.
    trail_kept : bool
        Whether the export's audit trail goes on in the store. When the store has one of its own,
        the trail stays in the file, and the store's trail names its head.
    """

    manifest: Manifest
    added: int
    already: int
    trail_kept: bool


def is_empty(store: Store) -> bool:
    """Return whether nothing was ever put into a store.

    Parameters
    ----------
    store : Store

    Returns
    -------
    bool
    """
    with store.database.reading() as connection:
        return _is_empty(connection)


def _is_empty(connection: Connection) -> bool:
    return not any(
        connection.execute(select(table).limit(1)).first() for table in (*KINDS.values(), audit)
    )


def import_records(store: Store, file: Path, *, action: str = "imported") -> Imported:
    """Take in an export, all of it or nothing.

    Into an empty store everything comes as it was, audit trail included, and is compared with the
    file letter for letter. Into another, records that are new are added with links of the store's
    own trail; what is there already must be the same.

    Parameters
    ----------
    store : Store
        Where to.
    file : Path
        The export.
    action : str
        What the audit trail calls it.

    Returns
    -------
    Imported

    Raises
    ------
    BadInput
        If the file is not as it was made, or differs from what the store holds.
    """
    manifest = check_file(file)
    by = present_actor(store.by)
    try:
        with store.database.writing() as connection:
            if _is_empty(connection):
                done = _take_all(connection, file, manifest)
            else:
                done = _take_new(connection, file, manifest, by)
            about = f"{file.name}, made {manifest.made_at}, head {manifest.head}"
            add_link(connection, action, "store", about, by=by)
    except DBAPIError as problem:
        hint = f"{str(problem.orig).splitlines()[0]}. Nothing was imported."
        raise BadInput("row", "one the database refuses", "one it takes", hint=hint) from problem
    return done


def _take_all(connection: Connection, file: Path, manifest: Manifest) -> Imported:
    tables = {**KINDS, "link": audit}
    waiting: list[dict[str, Any]] = []
    kind, digest = "patient", hashlib.sha256()

    def flush() -> None:
        if waiting:
            connection.execute(insert(tables[kind]), waiting)
            waiting.clear()

    for number, next_kind, row in file_rows(file):
        _readable(next_kind, row, file, number)
        if next_kind != kind or len(waiting) >= TOGETHER or kind == "attachment":
            flush()
            kind = next_kind
        waiting.append(row)
    flush()
    for line in row_lines(connection):
        digest.update(line)
    verdict = verify(connection)
    problems = list(verdict.problems)
    if digest.hexdigest() != _digest_of_rows(file):
        problems.append("what was written differs from the file")
    if verdict.head != manifest.head:
        problems.append("the head of the trail is another than the manifest says")
    if problems:
        raise BadInput(
            "audit trail",
            problems[0],
            "every row to fit its link",
            hint=f"{len(problems)} such in all. Nothing was imported.",
            where=str(file),
        )
    rows = manifest.patients + manifest.examinations + manifest.entries + manifest.attachments
    return Imported(manifest, rows, 0, True)


def _digest_of_rows(file: Path) -> str:
    """Return the SHA-256 of the lines between the manifest and the checksum."""
    digest = hashlib.sha256()
    held = b""  # the checksum, which comes last, is not to be among them
    for number, line in read_lines(file):
        digest.update(held)
        held = line if number > 1 else b""
    return digest.hexdigest()


def _take_new(connection: Connection, file: Path, manifest: Manifest, by: str) -> Imported:
    added = already = 0
    for number, kind, row in file_rows(file):
        if kind == "link":
            continue
        _readable(kind, row, file, number)
        table = KINDS[kind]
        columns = [table.c[name] for name in row]
        found = connection.execute(select(*columns).where(table.c.id == row["id"])).mappings()
        there = found.first()
        if there is None:
            _nameable(kind, row, file, number)
            connection.execute(insert(table), row)
            add_link(connection, "imported", kind, row["id"], row, by=by)
            added += 1
        elif dict(there) == row:
            already += 1
        else:
            name = next(name for name in row if row[name] != there[name])
            raise BadInput(
                f"{kind} {row['id']}, {name}",
                row[name],
                f"{str(there[name])[:80]!r}, as in the store",
                hint="Two different records have one identity. Nothing was imported.",
                where=f"{file}, line {number}",
            )
    return Imported(manifest, added, already, False)


def _nameable(kind: str, row: Mapping[str, Any], file: Path, number: int) -> None:
    """Refuse a patient from elsewhere under a label that nobody could have typed here."""
    if kind == "patient":
        try:
            checked_label(row["label"])
        except BadInput as problem:
            where = f"{file}, line {number}"
            raise BadInput("label", problem.found, problem.expected, where=where) from None


def _readable(kind: str, row: Mapping[str, Any], file: Path, number: int) -> None:
    """Refuse an entry or attachment that the program could not read again."""
    where = f"{file}, line {number}"
    if kind == "attachment":
        try:
            check_row(row)
        except BadInput as problem:
            raise BadInput(problem.field, problem.found, problem.expected, where=where) from None
    if kind != "entry":
        return
    try:
        entry = Entry.model_validate_json(row["body"])
    except ValidationError as problem:
        first = problem.errors()[0]
        field = ".".join(map(str, first["loc"])) or "entry"
        raise BadInput(field, first.get("input"), first["msg"].lower(), where=where) from None
    if str(entry.id) != row["id"]:
        raise BadInput("identity of the entry", row["id"], str(entry.id), where=where)
