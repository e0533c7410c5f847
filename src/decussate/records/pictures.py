"""Attached pictures, written again from what is seen of them.

A file that begins like a picture may hold anything after that: another file, a script, what the
camera wrote about place and owner. So a picture is decoded, and only its points are kept, in a new
file of the same kind. What is needed to see it right is worked into the points: how the camera was
held (a mirrored picture would put the right side on the left) and the colours of its profile.

References
----------
OWASP Cheat Sheet Series, File Upload ("image rewriting"). ITU-T T.81 (JPEG); ISO/IEC 15948 (PNG).
"""

from __future__ import annotations

import io
import warnings
from threading import BoundedSemaphore
from typing import TYPE_CHECKING, Any

from decussate.errors import BadInput

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["MOST_POINTS", "rewritten"]

MOST_POINTS = 50_000_000
"""Points of the largest picture taken: what present telephones make (judgement)."""

QUALITY = 95
"""Of a JPEG whose points had to be changed; else its own tables are used again."""

_one_at_a_time = BoundedSemaphore(1)  # the largest takes some 400 MB while it is written again


def rewritten(name: str, content: bytes) -> bytes:
    """Return a picture with nothing in it but what is seen.

    Parameters
    ----------
    name : str
        Of the file, for messages.
    content : bytes
        A PNG or JPEG file.

    Returns
    -------
    bytes
        A file of the same kind; the same bytes for the same file.

    Raises
    ------
    BadInput
        If it cannot be decoded to its end, moves, or is too large.
    """
    from PIL import Image

    try:
        with _one_at_a_time, warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # bounded below
            with Image.open(io.BytesIO(content), formats=("PNG", "JPEG")) as found:
                _require_still_and_small(name, found)
                found.load()
                return _written(found)
    except BadInput:
        raise
    except Exception:  # a decoder that is given nonsense may raise anything
        hint = "It may be damaged, or no picture at all. Save it anew and attach that."
        raise BadInput("picture", "unreadable", "a whole picture", hint=hint, where=name) from None


def _require_still_and_small(name: str, found: Image.Image) -> None:
    width, height = found.size
    if width * height > MOST_POINTS:
        expected = f"at most {MOST_POINTS // 1_000_000} million points"
        hint = "Make it smaller."
        raise BadInput("picture", f"{width} by {height}", expected, hint=hint, where=name)
    if found.format == "PNG" and getattr(found, "n_frames", 1) > 1:
        raise BadInput("picture", "one that moves", "a still picture", where=name)


def _written(found: Image.Image) -> bytes:
    from PIL import Image, ImageOps, JpegImagePlugin

    jpeg = found.format in ("JPEG", "MPO")  # the second: a camera's, with its preview behind
    how: dict[str, Any] = {"format": "PNG"}
    if jpeg:
        how = {"format": "JPEG", "quality": QUALITY, "subsampling": 0}
        as_it_was = {"qtables": found.quantization, "format": "JPEG"}  # type: ignore[attr-defined]
        sampling = JpegImagePlugin.get_sampling(found)
        if sampling != -1:
            as_it_was["subsampling"] = sampling
    upright = ImageOps.exif_transpose(found)
    seen = _in_usual_colours(upright)
    if jpeg and seen is upright and upright.size == found.size and _orientation(found) == 1:
        how = as_it_was
    # A new picture holds the points alone: no words, no times, no profile of the old file.
    bare = Image.new(seen.mode, seen.size)
    if seen.mode == "P" and seen.palette is not None:
        bare.putpalette(seen.palette.getdata()[1], seen.palette.mode)
    bare.paste(seen, (0, 0))
    if not jpeg and isinstance(shown := found.info.get("transparency"), (bytes, int, tuple)):
        how["transparency"] = shown
    written = io.BytesIO()
    bare.save(written, **how)
    return written.getvalue()


def _orientation(found: Image.Image) -> int:
    return int(found.getexif().get(0x0112, 1))


def _in_usual_colours(picture: Image.Image) -> Image.Image:
    """Return a picture in sRGB, in which every program shows it alike, or as it is."""
    from PIL import ImageCms

    profile = picture.info.get("icc_profile")
    if picture.mode == "CMYK" and not profile:
        return picture.convert("RGB")
    if not profile or picture.mode not in ("RGB", "RGBA", "CMYK"):
        return picture
    mode = "RGBA" if picture.mode == "RGBA" else "RGB"
    try:
        changed = ImageCms.profileToProfile(
            picture,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode=mode,
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        # A profile that is none: the points as they are.
        return picture.convert(mode) if picture.mode == "CMYK" else picture
    assert changed is not None  # noqa: S101  (it is not changed in place)
    return changed
