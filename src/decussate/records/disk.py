"""Whether the disk under a file is encrypted, as far as the operating system tells.

References
----------
Linux kernel documentation, "Device Mapper" and "ABI/stable/sysfs-block" (``dm/uuid`` begins with
``CRYPT-`` for an encrypted mapping; ``slaves`` names what a device lies on).
"""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["disk_is_encrypted"]

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
