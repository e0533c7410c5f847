"""Pictures are written again from what is seen, so that nothing else that was in the file is kept.

Checked against: OWASP File Upload Cheat Sheet (image rewriting); CIPA DC-008 (Exif), the eight
orientations of a picture, by what Pillow shows of them.
"""

import io
import struct
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from attached import JPEG, png
from decussate.errors import BadInput
from decussate.records import pictures
from decussate.records.attachments import kind_of
from decussate.records.pictures import rewritten

HIDDEN = b"<script>hidden</script>"


def scene(mode: str = "RGB") -> Image.Image:
    """Bright to the left, dark to the right, a mark in one corner: no two sides are alike."""
    made = Image.new("L", (64, 40))
    made.putdata([250 - 3 * (n % 64) if (n % 64 > 10 or n > 640) else 20 for n in range(64 * 40)])
    return made.convert(mode)


def saved(picture: Image.Image, kind: str, **more: object) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **more)
    return out.getvalue()


def opened(content: bytes) -> Image.Image:
    found = Image.open(io.BytesIO(content))
    found.load()
    return found


def differ(one: Image.Image, other: Image.Image) -> int:
    """The largest difference of any point."""
    pairs = zip(one.convert("RGB").tobytes(), other.convert("RGB").tobytes(), strict=True)
    return max(abs(a - b) for a, b in pairs)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_a_png_keeps_every_point(mode: str):
    picture = scene("L").convert(mode) if mode != "I;16" else Image.new("I;16", (9, 5), 40_000)
    if mode in ("LA", "RGBA"):
        picture.putalpha(scene("L"))
    again = opened(rewritten("a.png", saved(picture, "PNG")))
    assert (again.mode, again.size) == (picture.mode, picture.size)
    if mode == "P":
        assert differ(again, picture) == 0
    else:
        assert again.tobytes() == picture.tobytes()


def test_a_transparent_colour_stays_transparent():
    picture = scene("P")
    again = opened(rewritten("a.png", saved(picture, "PNG", transparency=3)))
    assert (
        again.info["transparency"]
        == opened(saved(picture, "PNG", transparency=3)).info["transparency"]
    )


@pytest.mark.parametrize("more", [{"quality": 60}, {"quality": 92, "progressive": True}])
@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_a_jpeg_stays_what_was_seen(mode: str, more: dict):
    content = saved(scene(mode), "JPEG", **more)
    assert (
        differ(opened(rewritten("a.jpg", content)), opened(content)) <= 10
    )  # of 255: rounding, once more


def hiding(kind: str) -> bytes:
    """A picture with words in every place that its format offers, and behind it."""
    if kind == "PNG":
        words = PngImagePlugin.PngInfo()
        words.add_text("Comment", HIDDEN.decode())
        words.add_itxt("XML:com.adobe.xmp", HIDDEN.decode())
        words.add(b"prVt", HIDDEN)
        content = saved(scene(), "PNG", pnginfo=words, icc_profile=HIDDEN, exif=exif_words())
    else:
        content = saved(
            scene(), "JPEG", comment=HIDDEN, icc_profile=HIDDEN, exif=exif_words(), xmp=HIDDEN
        )
    assert HIDDEN in content or zlib.compress(HIDDEN) in content
    return content + b"PK\x03\x04" + HIDDEN


def exif_words() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010E] = HIDDEN.decode()  # ImageDescription
    return exif


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_nothing_hidden_in_it_or_behind_it_is_kept(kind: str):
    content = rewritten("a", hiding(kind))
    assert b"hidden" not in content
    assert b"PK\x03\x04" not in content
    again = opened(content)
    assert set(again.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert again.getexif() == {}
    if kind == "PNG":
        assert chunks(content) == {b"IHDR", b"IDAT", b"IEND"}
    assert kind_of("a", content)[0] == "picture"
    assert rewritten("a", hiding(kind)) == content  # the same file gives the same bytes


def chunks(content: bytes) -> set[bytes]:
    found, at = set(), 8
    while at < len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        found.add(content[at + 4 : at + 8])
        at += length + 12
    return found


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_right_stays_right_however_the_camera_was_held(kind: str, orientation: int):
    """What a viewer shows of the old file, every viewer shows of the new one."""
    from PIL import ImageOps

    exif = Image.Exif()
    exif[0x0112] = orientation
    content = saved(scene(), kind, exif=exif)
    seen = ImageOps.exif_transpose(opened(content))
    again = opened(rewritten("a", content))
    assert again.getexif().get(0x0112, 1) == 1
    assert again.size == seen.size
    assert differ(again, seen) <= 12


def test_colours_of_a_profile_are_worked_in():
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    content = saved(scene(), "PNG", icc_profile=lab)
    again = opened(rewritten("a.png", content))
    assert "icc_profile" not in again.info
    assert differ(again, scene()) <= 1  # sRGB to sRGB


@pytest.mark.parametrize(
    "content",
    [
        b"\x89PNG\r\n\x1a\n",
        b"\x89PNG\r\n\x1a\n" + HIDDEN,
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)),
        png()[:45],
        JPEG[: len(JPEG) // 2],
        png().replace(b"IDAT", b"IDAX"),
    ],
)
def test_what_only_begins_like_a_picture_is_refused(content: bytes):
    with pytest.raises(BadInput, match="a whole picture"):
        rewritten("a.png", content)


def test_a_picture_that_moves_is_refused():
    frames = [scene(), scene().rotate(180)]
    content = saved(frames[0], "PNG", save_all=True, append_images=frames[1:])
    with pytest.raises(BadInput, match="a still picture"):
        rewritten("a.png", content)


def test_a_picture_that_would_fill_the_memory_is_refused(monkeypatch):
    monkeypatch.setattr(pictures, "MOST_POINTS", 2_000)
    with pytest.raises(BadInput, match="64 by 40"):
        rewritten("a.png", saved(scene(), "PNG"))
    head = struct.pack(">II", 2**31 - 1, 2**31 - 1) + bytes([8, 2, 0, 0, 0])
    chunk = b"IHDR" + head
    bomb = (
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + chunk + struct.pack(">I", zlib.crc32(chunk))
    )
    with pytest.raises(BadInput):
        rewritten("a.png", bomb + bytes(100))


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_any_damage_is_read_or_refused(data: st.DataObject):
    content = bytearray(
        saved(scene(), data.draw(st.sampled_from(["PNG", "JPEG"])), exif=exif_words())
    )
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(20, len(content)))
    try:
        again = rewritten("a", bytes(content[:cut]))
    except BadInput:
        return
    assert opened(again).size[0] > 0
