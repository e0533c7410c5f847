"""Everything in one file, and back: the export, which is also the form of a backup.

The file is text in UTF-8, one JSON object a line:

1. the manifest: format, when and by whom it was made, how many of each kind follow, and the head of
   the audit trail;
2. every patient, examination, entry, attachment and link of the audit trail, each as
   ``{kind: row}``;
3. the SHA-256 of all bytes before.

It is the same for every database, so records move from SQLite to PostgreSQL and back by it. From a
store that has a key the file is encrypted with that key (`decussate.records.line_files`).

References
----------
RFC 8259 (JSON); NIST FIPS 180-4 (SHA-256).
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Annotated, Any, Literal
from uuid import uuid4

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy import Connection, Table, func, select

from decussate.errors import BadInput
from decussate.records.chain import FIRST, links, present_actor, timestamp
from decussate.records.line_files import read_lines, writing_lines
from decussate.records.store import Store
from decussate.records.tables import KINDS, audit, entries, streamed

__all__ = ["Manifest", "check_file", "export_records", "file_rows", "row_lines"]

YEARS = (1900, 2200)
"""First and last year in which a record can have been made (judgement)."""

Count = Annotated[int, Field(ge=0)]


class Manifest(BaseModel):
    """The first line of an export.

    Parameters
    ----------
    format, version : str, int
        What kind of file it is.
    made_at, by : str
        When (ISO 8601 in UTC) and by whom.
    patients, examinations, entries, attachments, links : int
        How many follow. Version 1 had no attachments.
    head : str
        Hash of the last link of the audit trail.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    format: Literal["decussate records"] = "decussate records"
    version: Literal[1, 2] = 2
    made_at: str
    by: str
    patients: Count
    examinations: Count
    entries: Count
    attachments: Count = 0
    links: Count
    head: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


def export_records(store: Store, file: Path, *, plain: bool = False) -> Manifest:
    """Write everything the store holds to a new file, as it is at one moment.

    Parameters
    ----------
    store : Store
        What to export; that it was exported is put into its audit trail first.
    file : Path
        Made readable for its owner only. It appears under this name once it is whole and on disk.
    plain : bool
        Leave the file unencrypted, although the store has a key.

    Returns
    -------
    Manifest

    Raises
    ------
    BadInput
        If the file is there already or cannot be written.
    """
    if file.exists():
        raise BadInput("file", str(file), "a new name", hint="Nothing was written.")
    by = present_actor(store.by)
    part = file.with_name(f"{file.name}.{uuid4().hex}.part")  # nobody else's, whatever is there
    try:
        store.record_act("exported", file.name)
        with store.database.reading() as connection:
            manifest = _manifest(connection, by)
            with writing_lines(part, None if plain else store.database.key) as write:
                digest = hashlib.sha256()
                for line in chain([_line(manifest.model_dump())], row_lines(connection)):
                    digest.update(line)
                    write(line)
                write(_line({"sha256": digest.hexdigest()}))
        part.rename(file)
        _sync_folder(file.absolute().parent)
    except OSError as problem:
        raise BadInput(
            "file", str(file), "a place that can be written", hint=str(problem.strerror or problem)
        ) from problem
    finally:
        with suppress(OSError):
            part.unlink()  # it has its name by now, or is not whole
    return manifest


def _manifest(connection: Connection, by: str) -> Manifest:
    def count(table: Table) -> int:
        return connection.scalar(select(func.count()).select_from(table)) or 0

    head = connection.scalar(select(audit.c.hash).order_by(audit.c.sequence.desc()).limit(1))
    return Manifest(
        made_at=timestamp(),
        by=by,
        patients=count(KINDS["patient"]),
        examinations=count(KINDS["examination"]),
        entries=count(KINDS["entry"]),
        attachments=count(KINDS["attachment"]),
        links=count(audit),
        head=head or FIRST,
    )


def row_lines(connection: Connection) -> Iterator[bytes]:
    """Give everything in the store as lines of an export, always in the same order.

    Parameters
    ----------
    connection : Connection
        From `Database.reading`.

    Yields
    ------
    bytes
        One line with its end.
    """
    for kind, table in KINDS.items():
        columns = [column for column in table.columns if column.name != "sequence"]
        order = entries.c.sequence if kind == "entry" else table.c.id
        query = select(*columns).order_by(order)
        for row in connection.execute(query, execution_options=streamed(table)).mappings():
            yield _line({kind: dict(row)})
    for link, hashed in links(connection):
        fields = {name: getattr(link, name) for name in type(link).__slots__}
        yield _line({"link": {**fields, "hash": hashed}})


def _line(value: dict[str, Any]) -> bytes:
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False).encode("utf-8") + b"\n"


def _sync_folder(folder: Path) -> None:
    """Have the folder's new name on disk too."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def check_file(file: Path) -> Manifest:
    """Check that an export is whole: its checksum, its rows, and that none is missing.

    Parameters
    ----------
    file : Path
        The export.

    Returns
    -------
    Manifest

    Raises
    ------
    BadInput
        With the line, if anything is not as it was written.
    """
    found = dict.fromkeys((*KINDS, "link"), 0)
    manifest = None
    for item in _items(file):
        if isinstance(item, Manifest):
            manifest = item
        else:
            found[item[1]] += 1
    if manifest is None:
        raise BadInput("manifest", "nothing", "the first line of an export", where=str(file))
    promised = (
        manifest.patients,
        manifest.examinations,
        manifest.entries,
        manifest.attachments,
        manifest.links,
    )
    if tuple(found.values()) != promised:
        raise BadInput("rows", tuple(found.values()), f"{promised}", where=str(file))
    return manifest


def file_rows(file: Path) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Give the rows of an export.

    Parameters
    ----------
    file : Path
        The export; `check_file` should have found it whole.

    Yields
    ------
    int
        Number of the line.
    str
        ``patient``, ``examination``, ``entry`` or ``link``.
    dict
        The row.

    Raises
    ------
    BadInput
        With the line, if anything is not as it was written.
    """
    for item in _items(file):
        if not isinstance(item, Manifest):
            yield item


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Identity = Annotated[str, Field(min_length=1, max_length=36)]
Hash = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Moment = Annotated[str, Field(min_length=1, max_length=32)]


class _Patient(_Row):
    id: Identity
    label: Annotated[str, Field(min_length=1)]
    invented: bool
    opened_at: Moment


class _Examination(_Row):
    id: Identity
    patient: Identity
    opened_at: Moment


class _Entry(_Row):
    id: Identity
    examination: Identity
    at: Moment
    body: str


class _Attachment(_Row):
    id: Identity
    examination: Identity
    at: Moment
    by: str
    device: str
    name: Annotated[str, Field(min_length=1)]
    kind: Annotated[str, Field(max_length=16)]
    media_type: Annotated[str, Field(max_length=64)]
    size: Count
    sha256: Hash
    content: str


class _Link(_Row):
    sequence: Annotated[int, Field(ge=1)]
    at: Moment
    by: str
    action: Annotated[str, Field(max_length=16)]
    kind: Annotated[str, Field(max_length=16)]
    subject: str
    content: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")]
    previous: Hash
    hash: Hash


_MODELS: dict[str, type[_Row]] = {
    "patient": _Patient,
    "examination": _Examination,
    "entry": _Entry,
    "attachment": _Attachment,
    "link": _Link,
}


def _items(file: Path) -> Iterator[Manifest | tuple[int, str, dict[str, Any]]]:
    """Give the manifest and the rows; raise at the first line that is not as it was written."""
    digest = hashlib.sha256()
    ended = False
    number = 0
    for number, raw in read_lines(file):
        where = f"{file}, line {number}"
        if ended:
            raise BadInput("line", raw[:40], "nothing after the checksum", where=where)
        value = _object(raw, where)
        if number > 1 and set(value) == {"sha256"}:
            if value["sha256"] != digest.hexdigest():
                hint = "The file was changed or damaged since it was made."
                expected = f"the checksum of the lines before, {digest.hexdigest()}"
                raise BadInput("checksum", value["sha256"], expected, hint=hint, where=where)
            ended = True
            continue
        digest.update(raw)
        try:
            yield Manifest.model_validate(value) if number == 1 else (number, *_row(value, where))
        except ValidationError as problem:
            first = problem.errors()[0]
            field = ".".join(map(str, first["loc"])) or "line"
            found = first.get("input")
            raise BadInput(field, found, first["msg"].lower(), where=where) from None
        except BadInput:
            raise
        except (ValueError, KeyError):
            raise BadInput("line", sorted(value)[:3], "one row", where=where) from None
    if not ended:
        hint = "The file stops early: was it cut off while being copied?"
        where = f"{file}, after line {number}"
        raise BadInput("checksum", "nothing", "a last line with it", hint=hint, where=where)


def _object(raw: bytes, where: str) -> dict[str, Any]:
    try:
        value = json.loads(raw)
    except (ValueError, RecursionError):
        value = None
    if not isinstance(value, dict) or not raw.endswith(b"\n"):
        hint = "An export begins with its manifest and has one JSON object a line."
        raise BadInput("line", raw[:40], "a JSON object, then a new line", hint=hint, where=where)
    return value


def _row(value: dict[str, Any], where: str) -> tuple[str, dict[str, Any]]:
    ((kind, fields),) = value.items()
    row = _MODELS[kind].model_validate(fields).model_dump()
    for name in ("at", "opened_at"):
        if name in row and not _is_a_time(row[name]):
            expected = f"a date and time with its zone, of the years {YEARS[0]} to {YEARS[1]}"
            raise BadInput(name, row[name], expected, where=where)
    return kind, row


def _is_a_time(written: str) -> bool:
    """Whether it is a time of a record; at the ends of the calendar no page could show it."""
    try:
        at = datetime.fromisoformat(written)
    except ValueError:
        return False
    return at.tzinfo is not None and YEARS[0] <= at.year <= YEARS[1]
