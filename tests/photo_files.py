"""Photos made for tests: a JPEG or PNG with a mark in its first corner, held any way, with or without a date."""

import struct
import zlib

import numpy as np
import pymupdf

MARK = (255, 0, 0)
"""Colour of the square at row 0, column 0 of the pixels as they are stored."""


def picture(width: int = 80, height: int = 60, *, noise: float = 0.0) -> pymupdf.Pixmap:
    """Grey, with a square of a quarter of its sides in the first corner."""
    rng = np.random.default_rng(1)
    pixels = 128.0 + noise * rng.standard_normal((height, width, 3))
    pixels[: height // 4, : width // 4] = MARK
    data = pixels.clip(0, 255).astype(np.uint8).tobytes()
    return pymupdf.Pixmap(pymupdf.csRGB, width, height, data, False)


def a_png(width: int = 80, height: int = 60, *, noise: float = 0.0) -> bytes:
    """As PNG."""
    return bytes(picture(width, height, noise=noise).tobytes("png"))


def a_jpeg(
    width: int = 80,
    height: int = 60,
    *,
    orientation: int = 1,
    taken: str = "2026:11:20 10:11:12",
    noise: float = 0.0,
    order: str = ">",
) -> bytes:
    """As JPEG with Exif (JEITA CP-3451): how it was held, when it was taken, and a place that stays secret."""
    plain = bytes(picture(width, height, noise=noise).tobytes("jpeg"))
    tiff = exif(orientation, taken, order)
    return plain[:2] + b"\xff\xe1" + struct.pack(">H", len(tiff) + 8) + b"Exif\0\0" + tiff + plain[2:]


def exif(orientation: int, taken: str, order: str = ">") -> bytes:
    """A TIFF header with two directories: orientation and a pointer, then the date; and a secret behind it."""
    mark = b"MM" if order == ">" else b"II"
    first = struct.pack(order + "HHHIHHHHIII", 2, 0x0112, 3, 1, orientation, 0, 0x8769, 4, 1, 38, 0)
    inner = struct.pack(order + "HHHIII", 1, 0x9003, 2, 20, 56, 0)
    return struct.pack(order + "2sHI", mark, 42, 8) + first + inner + taken.encode().ljust(20, b"\0") + b"SECRET PLACE"


def chunk(kind: bytes, body: bytes) -> bytes:
    """A chunk of a PNG with its check."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def empty_png(width: int, height: int) -> bytes:
    """A PNG that says its size and has no pixels."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = (chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(b"")), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)
