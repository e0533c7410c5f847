"""Backups that are known to be good: each is restored once, out of the way, when it is made.

A backup is an export (`decussate.records.transfer`), so it does not depend on the database it came
from, and can be restored into SQLite or PostgreSQL. Of a store with a key it is encrypted with that
key, and so is the trial.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from decussate.errors import BadInput
from decussate.records.encryption import unlocking
from decussate.records.importing import Imported, import_records, is_empty
from decussate.records.store import Store
from decussate.records.transfer import Manifest, check_file, export_records

__all__ = ["back_up", "restore"]


def back_up(store: Store, file: Path) -> Manifest:
    """Write a backup and prove it: verify the store, export it, restore the export, compare.

    Parameters
    ----------
    store : Store
        What to back up.
    file : Path
        A new file.

    Returns
    -------
    Manifest
        What is in it.

    Raises
    ------
    BadInput
        If the store or the backup does not verify. A backup that could not be proved is left under
        its name with ``.unproved`` at its end.
    """
    verdict = store.verify()
    if verdict.problems:
        raise BadInput(
            "database",
            verdict.problems[0],
            "a database that verifies",
            hint=f"{len(verdict.problems)} such in all: see decussate audit --verify. "
            "Keep the last good backup; decussate export still writes all that can be read.",
        )
    manifest = export_records(store, file)
    try:
        # Beside the backup, where such records may be, and for this user only.
        with (
            tempfile.TemporaryDirectory(dir=file.absolute().parent) as folder,
            unlocking(store.database.key),
        ):
            restore(file, Path(folder) / "trial.db")
    except BaseException as problem:  # whatever it was, and be it Ctrl-C
        file.rename(file.with_name(f"{file.name}.unproved"))
        if isinstance(problem, OSError):
            hint = str(problem.strerror or problem)
            expected = "one that was restored once"
            raise BadInput("backup", "not proved", expected, hint=hint) from problem
        raise
    return manifest


def restore(file: Path, database: Path | str, *, by: str | None = None) -> Imported:
    """Restore a backup into a new or empty database and verify it there.

    Parameters
    ----------
    file : Path
        The backup.
    database : Path or str
        As for `Store`.
    by : str, optional
        Who acts, for the audit trail.

    Returns
    -------
    Imported

    Raises
    ------
    BadInput
        If the backup is not as it was made, or the database holds something.
    """
    check_file(file)  # before a database is made for it
    store = Store(database, by=by)
    try:
        if not is_empty(store):
            raise BadInput(
                "database",
                store.database.name,
                "a new or empty one",
                hint="Nothing was restored. To add records to a database, use decussate import.",
            )
        done = import_records(store, file, action="restored")
        problems = store.verify(passes=done.manifest.head).problems
        if problems:
            raise BadInput("restored database", problems[0], "one that verifies", where=str(file))
    finally:
        store.close()
    return done
