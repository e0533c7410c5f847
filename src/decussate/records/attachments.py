"""Files that belong to an examination: audiogram and perimetry tables, pictures, documents.

They are kept in the database, so that one backup holds everything, and like entries they are only
ever added. What a file is follows from its content, not from its name; anything but the kinds named
here is refused. A table must be one that this program can read: then no cell of it is a formula. A
picture is written again from its points, and the department may have every file scanned.

References
----------
WHATWG, MIME Sniffing Standard, section 6 (the first bytes of PNG, JPEG and PDF).
OWASP File Upload Cheat Sheet (a list of what is allowed, type by content, safe names, a limit).
"""

from __future__ import annotations

import base64
import hashlib
import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import Connection, Row, insert, select

from decussate.errors import BadInput
from decussate.measures.audiogram import audiogram_from_csv
from decussate.measures.visual_field_points import read_perimetry_csv
from decussate.records.chain import add_link, present_actor, present_device, timestamp
from decussate.records.pictures import rewritten
from decussate.records.scanning import Scanner
from decussate.records.store import Store
from decussate.records.tables import attachments, examinations
from decussate.sides import Side

__all__ = [
    "KINDS_IN_WORDS",
    "LARGEST",
    "LONGEST_NAME",
    "Attachment",
    "attach",
    "attachments_of",
    "check_row",
    "content_of",
    "kind_of",
]

LARGEST = 8 * 1024 * 1024
"""Bytes accepted in one file: a photograph or a scan of some pages (judgement)."""

LONGEST_NAME = 120

KINDS_IN_WORDS = {
    "audiogram": "audiogram table (CSV)",
    "perimetry": "perimetry table (CSV)",
    "picture": "picture (PNG or JPEG)",
    "document": "document (PDF)",
}
"""What may be attached."""

_SIGNATURES = (
    (b"\x89PNG\r\n\x1a\n", "picture", "image/png"),
    (b"\xff\xd8\xff", "picture", "image/jpeg"),
    (b"%PDF-", "document", "application/pdf"),
)
_ENDINGS = {
    "image/png": (".png",),
    "image/jpeg": (".jpg", ".jpeg"),
    "application/pdf": (".pdf",),
    "text/csv": (".csv",),
}


@dataclass(frozen=True, slots=True)
class Attachment:
    """One attached file, without its content.

    Parameters
    ----------
    id, examination : str
        Identities of the attachment and of the examination.
    at : datetime
        When it was attached, in UTC.
    by, device : str
        Who attached it, and with what; the device is empty where it is not known.
    name : str
        File name, made safe.
    kind, media_type : str
        What it is: a key of `KINDS_IN_WORDS`, and the type it is served as.
    size : int
        Bytes.
    sha256 : str
        SHA-256 of the content, in hexadecimal.
    """

    id: str
    examination: str
    at: datetime
    by: str
    device: str
    name: str
    kind: str
    media_type: str
    size: int
    sha256: str


_HEAD = [column for column in attachments.columns if column.name != "content"]


def kind_of(name: str, content: bytes) -> tuple[str, str]:
    """Return what a file is, by its content.

    Parameters
    ----------
    name : str
        Its name, for messages.
    content : bytes
        All of it.

    Returns
    -------
    str
        A key of `KINDS_IN_WORDS`.
    str
        Its media type.

    Raises
    ------
    BadInput
        If it is none of the kinds accepted, empty, too large, or a table with a fault in it.
    """
    if not content:
        raise BadInput("file", "nothing in it", "a file with content", where=name)
    if len(content) > LARGEST:
        limit = f"at most {LARGEST // 1024**2} MB"
        found = f"{len(content) / 1024**2:.1f} MB"
        raise BadInput("size of the file", found, limit, hint="Make it smaller.", where=name)
    for signature, kind, media_type in _SIGNATURES:
        if content.startswith(signature):
            return kind, media_type
    try:
        text = content.decode("utf-8-sig")
        heading = {cell.strip().lower() for cell in text.splitlines()[0].split(",")}
    except (UnicodeDecodeError, IndexError):
        heading = set()
    if not heading & {"ear", "x", "y"}:
        accepted = ", ".join(KINDS_IN_WORDS.values())
        raise BadInput("kind of file", "none that it knows", accepted, where=name)
    if "ear" in heading:
        audiogram_from_csv(text, where=name)
        return "audiogram", "text/csv"
    _check_perimetry(text)
    return "perimetry", "text/csv"


def _check_perimetry(text: str) -> None:
    """Read the points for either eye: which it was is asked when they become findings."""
    try:
        read_perimetry_csv(Side.RIGHT, text)
    except BadInput as problem:
        if problem.field != "eye":
            raise
        read_perimetry_csv(Side.LEFT, text)


def attach(
    store: Store,
    examination: str,
    name: str,
    content: bytes,
    *,
    attachment: str | None = None,
    scanner: Scanner | None = None,
) -> Attachment:
    """Attach a file to an examination, and return once it is on disk.

    Parameters
    ----------
    store : Store
        Where the examination is kept.
    examination : str
        Its identity.
    name : str
        The name of the file; folders and signs that a file name may not have are left out.
    content : bytes
        All of it.
    attachment : str, optional
        Identity to use; a new one is made by default. The same file sent twice with one identity is
        kept once.
    scanner : Scanner, optional
        What looks for malware; it sees the file as it came.

    Returns
    -------
    Attachment

    Raises
    ------
    BadInput
        If there is no such examination, the file is not accepted, or the identity is another's.
    NotSaved
        If the database could not write it.
    """
    kind, media_type = kind_of(name, content)
    if scanner is not None:
        scanner.require_harmless(name, content)
    if kind == "picture":
        content = rewritten(name, content)
        kind_of(name, content)  # which may have become too large
    by = present_actor(store.by)
    row = {
        "id": str(UUID(attachment)) if attachment else str(uuid4()),
        "examination": examination,
        "at": timestamp(),
        "by": by,
        "device": present_device(),
        "name": _safe_name(name, media_type),
        "kind": kind,
        "media_type": media_type,
        "size": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
        "content": base64.b64encode(content).decode("ascii"),
    }

    def add(connection: Connection) -> Attachment:
        saved = connection.execute(select(*_HEAD).where(attachments.c.id == row["id"])).first()
        if saved is not None:
            if (saved.examination, saved.sha256) != (examination, row["sha256"]):
                hint = "Reload the page and attach it again; nothing was changed."
                raise BadInput("identity of the file", row["id"], "a new one", hint=hint)
            return _head(saved)
        known = select(examinations.c.id).where(examinations.c.id == examination)
        if connection.execute(known).first() is None:
            hint = "Open it from the list."
            raise BadInput("examination", examination, "one that is in the store", hint=hint)
        connection.execute(insert(attachments), row)
        add_link(connection, "added", "attachment", str(row["id"]), row, by=by)
        return _head_of(row)

    return store.write(add)


def attachments_of(store: Store, examination: str) -> tuple[Attachment, ...]:
    """Return what is attached to an examination, oldest first.

    Parameters
    ----------
    store : Store
        Where the examination is kept.
    examination : str
        Its identity.

    Returns
    -------
    tuple of Attachment
    """
    query = (
        select(*_HEAD)
        .where(attachments.c.examination == examination)
        .order_by(attachments.c.at, attachments.c.id)
    )
    with store.database.reading() as connection:
        return tuple(_head(row) for row in connection.execute(query))


def content_of(store: Store, examination: str, attachment: str) -> tuple[Attachment, bytes]:
    """Return an attached file.

    Parameters
    ----------
    store : Store
        Where it is kept.
    examination, attachment : str
        Identities of both.

    Returns
    -------
    Attachment
        What it is.
    bytes
        Its content.

    Raises
    ------
    BadInput
        If that examination has no such file, or its content is not what was attached.
    """
    query = select(attachments).where(
        attachments.c.id == attachment, attachments.c.examination == examination
    )
    with store.database.reading() as connection:
        row = connection.execute(query).first()
    if row is None:
        raise BadInput("attachment", attachment, "one of this examination")
    check_row(row._mapping)
    return _head(row), base64.b64decode(row.content)


def check_row(row: Any) -> None:  # noqa: ANN401
    """Refuse a row whose content is not what its other columns say.

    Parameters
    ----------
    row : mapping
        Column to value.

    Raises
    ------
    BadInput
        Naming the column.
    """
    try:
        content = base64.b64decode(row["content"], validate=True)
        kind = kind_of(row["name"], content)
    except ValueError as problem:
        raise BadInput("content of the attachment", str(problem), "a file as attached") from None
    if hashlib.sha256(content).hexdigest() != row["sha256"] or len(content) != row["size"]:
        hint = "It was changed or damaged since it was attached."
        raise BadInput("content of the attachment", "another", row["sha256"], hint=hint)
    if kind != (row["kind"], row["media_type"]) or row["name"] != _safe_name(
        row["name"], row["media_type"]
    ):
        raise BadInput("kind of the attachment", row["kind"], f"{kind[0]}, {kind[1]}")


def _safe_name(name: str, media_type: str) -> str:
    """Return a file name without folders, control signs and signs that systems give a meaning.

    It ends as its content asks, so that no system opens it as something else.
    """
    name = unicodedata.normalize("NFC", name).replace("\\", "/").rsplit("/", 1)[-1]
    name = "".join(sign for sign in name if unicodedata.category(sign)[0] != "C")
    name = re.sub(r'[<>:"|?*;%]', " ", name)
    name = " ".join(name.split()).strip(" .")
    endings = _ENDINGS[media_type]
    if not name.lower().endswith(endings):
        name += endings[0]
    stem, dot, ending = name.rpartition(".")
    return (stem[: LONGEST_NAME - len(ending) - 1].strip(" .") or "file") + dot + ending


def _head(row: Row[Any]) -> Attachment:
    return _head_of(row._mapping)


def _head_of(row: Any) -> Attachment:  # noqa: ANN401
    held = {name: row[name] for name in Attachment.__slots__}
    return Attachment(**held | {"at": datetime.fromisoformat(row["at"])})
