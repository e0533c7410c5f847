"""Small files of every kind that may be attached."""

import io
import zlib

from PIL import Image

AUDIOGRAM = (
    b"ear,frequency_hz,conduction,level_db_hl,masked,no_response,transducer\n"
    b"right,1000,air,-10,no,no,insert\n"
)
PERIMETRY = b"x,y,dB\n3,3,30\n-3,3,<0\n"
PDF = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<<>>\nendobj\n%%EOF\n"


def _jpeg() -> bytes:
    out = io.BytesIO()
    Image.linear_gradient("L").resize((16, 16)).save(out, "JPEG")
    return out.getvalue()


JPEG = _jpeg()


def png() -> bytes:
    """A picture of one point, made as the PNG specification says."""

    def chunk(name: bytes, held: bytes) -> bytes:
        seal = zlib.crc32(name + held).to_bytes(4, "big")
        return len(held).to_bytes(4, "big") + name + held + seal

    size = (1).to_bytes(4, "big") * 2 + bytes([8, 0, 0, 0, 0])
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", size)
        + chunk(b"IDAT", zlib.compress(b"\0\0")) + chunk(b"IEND", b"")
    )  # fmt: skip
