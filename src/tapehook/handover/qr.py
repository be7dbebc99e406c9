"""An address as a QR code (ISO/IEC 18004): what a phone's camera reads off paper."""

from tapehook.picture.svg import drawing, element, rect

MOST_SIGNS = 300
"""Longer addresses make a code too fine for a 24 mm print."""
_QUIET = 4
"""White modules on all sides, which readers need."""


def qr_picture(url: str) -> str:
    """The code as a picture, one module to the point, its quiet zone with it.

    Error correction M. The same address gives the same text. Raises ValueError for an address too long.
    """
    import segno

    if len(url) > MOST_SIGNS:
        message = f"the address has {len(url)} signs, and a code takes at most {MOST_SIGNS}"
        raise ValueError(message)
    rows = segno.make_qr(url, error="m", boost_error=False).matrix
    steps = [
        f"M{x + _QUIET} {y + _QUIET}h1v1h-1z" for y, row in enumerate(rows) for x, module in enumerate(row) if module
    ]
    side = len(rows) + 2.0 * _QUIET
    white = rect(0.0, 0.0, side, side, fill="#FFFFFF")
    return drawing(side, side, "QR code", url, white, element("path", d="".join(steps), fill="#000000"))
