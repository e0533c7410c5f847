"""Whether the disk under a file is encrypted, as far as the operating system tells.

References
----------
Linux kernel documentation, "Device Mapper" and "ABI/stable/sysfs-block" (``dm/uuid`` begins with
``CRYPT-`` for an encrypted mapping; ``slaves`` names what a device lies on).
"""

from __future__ import annotations

import os
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from decussate.records.database import Database

__all__ = ["disk_in_words", "disk_is_encrypted"]

DEVICES = Path("/sys/dev/block")


def disk_is_encrypted(path: Path, devices: Path = DEVICES) -> bool | None:
    """Return whether the file system of a path lies on an encrypted disk.

    Parameters
    ----------
    path : Path
        A file or folder.
    devices : Path
        Where Linux describes its block devices.

    Returns
    -------
    bool or None
        None where it cannot be told: on other systems, and on file systems that are no block device
        (network, memory, containers). A disk that encrypts itself is not seen and gives False.
    """
    try:
        number = path.stat().st_dev
        device = devices / f"{os.major(number)}:{os.minor(number)}"
        return _encrypted(device.resolve(strict=True))
    except OSError:
        return None


def _encrypted(device: Path) -> bool:
    mapping = device / "dm" / "uuid"
    if mapping.is_file() and mapping.read_text().startswith("CRYPT-"):
        return True
    slaves = device / "slaves"
    below = sorted(slaves.iterdir()) if slaves.is_dir() else []
    return bool(below) and all(_encrypted(slave.resolve()) for slave in below)


def disk_in_words(place: Path | Database) -> str:
    """Return what is known of the encryption of the disk under a database.

    Parameters
    ----------
    place : Path or Database
        An SQLite file; or a PostgreSQL server, whose disk can be looked at when it is on this
        machine and tells its folder.

    Returns
    -------
    str
        One or two sentences.
    """
    file = isinstance(place, Path)
    folder = place if isinstance(place, Path) else _server_folder(place)
    what = "The disk under the database" if file else "The disk of the PostgreSQL server"
    known = None if folder is None else disk_is_encrypted(folder)
    if known is None:
        must = "Ask who keeps the machine." if file else "It must be: ask who keeps it."
        return f"{what}: this program cannot see whether it is encrypted. {must}"
    if known:
        return f"{what} is encrypted by the operating system."
    must = "" if file else " It must be: this program cannot encrypt PostgreSQL's files."
    return f"{what} is not encrypted by the operating system.{must}"


def _server_folder(database: Database) -> Path | None:
    try:
        with database.reading() as connection:
            folder = Path(str(connection.exec_driver_sql("SHOW data_directory").scalar()))
    except DBAPIError:
        return None  # told to administrators of the server alone
    try:
        return folder if folder.exists() else None  # another machine, or not for this user
    except PermissionError:
        return None
