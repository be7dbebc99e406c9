"""The photo of the demo job: a drawing, made here, of the back of a lens with a scratch near its rim.

A crew would take it with a phone. This one is drawn in sixteen greys and written as PNG (ISO/IEC 15948) without
compression, as other versions of the compressor pack the same picture into other bytes.
"""

import math
import struct
import zlib

SIDE = 240
GREYS = 16
MOST_STORED = 65_535
"""Bytes a stored block of the compressed stream may hold (RFC 1951)."""

MAT, BARREL, SEAT, GLASS, SHINE = 12.0, 3.0, 6.0, 1.0, 9.0
BARREL_R, SEAT_R, GLASS_R = 106.0, 92.0, 76.0
SCRATCH = ((52.0, -34.0), (68.0, 14.0))
"""Its ends, from the middle of the lens: within eight of the rim of the glass at its lower one."""


def photo() -> bytes:
    """The picture as the bytes of a PNG file."""
    rows = b"".join(b"\0" + _packed([_grey(x, y) for x in range(SIDE)]) for y in range(SIDE))
    head = struct.pack(">IIBBBBB", SIDE, SIDE, 4, 0, 0, 0, 0)  # four bits of grey to a pixel
    parts = ((b"IHDR", head), (b"IDAT", _stored(rows)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, data) for kind, data in parts)


def _grey(x: int, y: int) -> int:
    """What is seen at a pixel, 0 black to 15 white; edges are a pixel soft."""
    right, down = x - (SIDE - 1) / 2, y - (SIDE - 1) / 2
    out = math.hypot(right, down)
    seen = _over(MAT, BARREL, BARREL_R - out)
    seen = _over(seen, SEAT, min(SEAT_R - out, out - GLASS_R))
    # The glass is a little lighter toward a lamp at the upper left, and shows the lamp itself.
    seen = _over(seen, GLASS + 2.0 * (1.0 - (right + down) / (2.0 * GLASS_R)), GLASS_R - out)
    seen = _over(seen, SHINE, 11.0 - math.hypot(right + 30.0, down + 34.0))
    return round(_over(seen, GREYS - 1.0, 0.9 - _from_scratch(right, down)))


def _over(under: float, over: float, inside: float) -> float:
    """One grey laid over another, ``inside`` pixels within its edge."""
    part = min(1.0, max(0.0, inside + 0.5))
    return under + (over - under) * part


def _from_scratch(right: float, down: float) -> float:
    """Pixels from a point to the scratch."""
    (x0, y0), (x1, y1) = SCRATCH
    along = ((right - x0) * (x1 - x0) + (down - y0) * (y1 - y0)) / ((x1 - x0) ** 2 + (y1 - y0) ** 2)
    along = min(1.0, max(0.0, along))
    return math.hypot(right - x0 - along * (x1 - x0), down - y0 - along * (y1 - y0))


def _packed(greys: list[int]) -> bytes:
    """Two pixels to a byte, the left one first."""
    return bytes(16 * one + other for one, other in zip(greys[::2], greys[1::2], strict=True))


def _stored(data: bytes) -> bytes:
    """A compressed stream that is not compressed: stored blocks, then the check sum."""
    blocks = [data[at : at + MOST_STORED] for at in range(0, len(data), MOST_STORED)]
    heads = [struct.pack("<BHH", block is blocks[-1], len(block), len(block) ^ 0xFFFF) for block in blocks]
    body = b"".join(head + block for head, block in zip(heads, blocks, strict=True))
    return b"\x78\x01" + body + struct.pack(">I", zlib.adler32(data))


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
