"""A small SVG writer that cannot be talked into markup: text is escaped, numbers are finite, styles are attributes."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

FONT = "IBM Plex Sans"
BOLD_FONT = "IBM Plex Sans SmBld"

DECIMALS = 2
"""Decimals of every number written. With a unit of one point, half of the last digit is 0.002 mm."""

_NAME = re.compile(r"[a-z][A-Za-z0-9]*(-[a-z]+)*")
_ENTITIES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"})
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def number(value: float) -> str:
    """A coordinate as text, with ``DECIMALS`` decimals. Raises ValueError unless it is finite."""
    if not math.isfinite(value):
        raise ValueError(f"a coordinate must be finite, not {value}")
    text = f"{value:.{DECIMALS}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def escape(text: str) -> str:
    """Text made safe between tags and inside double quotes; what XML cannot hold becomes U+FFFD."""
    return _NOT_XML.sub("\ufffd", text).translate(_ENTITIES)


@dataclass(frozen=True, slots=True)
class Element:
    """One element: its name, attributes already written as text, and children, of which strings are text."""

    name: str
    attributes: tuple[tuple[str, str], ...]
    children: tuple["Element | str", ...]

    def __str__(self) -> str:
        """The element as SVG text."""
        attributes = "".join(f' {key}="{escape(value)}"' for key, value in self.attributes)
        if not self.children:
            return f"<{self.name}{attributes}/>"
        inside = "".join(escape(child) if isinstance(child, str) else str(child) for child in self.children)
        return f"<{self.name}{attributes}>{inside}</{self.name}>"


def element(name: str, *children: Element | str, **attributes: str | float) -> Element:
    """An element; ``stroke_width=1`` becomes ``stroke-width="1.00"``.

    Raises ValueError for a number that is not finite and for a name that is no name.
    """
    pairs = []
    for key, value in attributes.items():
        written = key.rstrip("_").replace("_", "-")
        if not _NAME.fullmatch(written):
            raise ValueError(f"no attribute is called {written!r}")
        pairs.append((written, value if isinstance(value, str) else number(value)))
    if not _NAME.fullmatch(name):
        raise ValueError(f"no element is called {name!r}")
    return Element(name, tuple(pairs), children)


def line(x1: float, y1: float, x2: float, y2: float, **style: str | float) -> Element:
    """A straight line."""
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **style)


def rect(x: float, y: float, width: float, height: float, **style: str | float) -> Element:
    """A rectangle; a negative width or height is turned round."""
    return element(
        "rect",
        x=min(x, x + width),
        y=min(y, y + height),
        width=abs(width),
        height=abs(height),
        **style,
    )


def path(points: list[tuple[float, float]], *, closed: bool = False, **style: str | float) -> Element:
    """A line through points (x, y), closed on demand. Raises ValueError without points."""
    if not points:
        raise ValueError("a path needs points")
    steps = " ".join(f"{number(x)} {number(y)}" for x, y in points)
    return element("path", d=f"M{steps}{'Z' if closed else ''}", **style)


def strokes(lines: Iterable[tuple[float, float, float, float]], **style: str | float) -> Element:
    """Many straight lines (x1, y1, x2, y2) of one style as one element."""
    steps = "".join(f"M{number(x1)} {number(y1)} {number(x2)} {number(y2)}" for x1, y1, x2, y2 in lines)
    return element("path", d=steps or "M0 0", fill="none", **style)


def words(
    x: float,
    y: float,
    text: str,
    *,
    size: float,
    fill: str,
    anchor: str = "start",
    bold: bool = False,
) -> Element:
    """Text with its baseline at ``y``; ``anchor`` is start, middle or end."""
    style = {"font_family": BOLD_FONT, "font_weight": "600"} if bold else {"font_family": FONT}
    return element("text", text, x=x, y=y, font_size=size, fill=fill, text_anchor=anchor, **style)


def hatch(x: float, y: float, width: float, height: float, *, gap: float, stroke: str, weight: float) -> Element:
    """Slanted lines inside a rectangle: a hatch without a pattern, whose id would clash on a page of pictures."""
    # Each line has s + t = c from the rectangle's corner, and is cut to the rectangle.
    places = [i * gap for i in range(1, math.ceil((width + height) / gap))]
    lines = ((x + min(c, width), y + max(0.0, c - width), x + max(0.0, c - height), y + min(c, height)) for c in places)
    return strokes(lines, stroke=stroke, stroke_width=weight)


def drawing(width: float, height: float, title: str, description: str, *children: Element) -> str:
    """A whole picture ``width`` by ``height`` points, with a title and a description for those who do not see it."""
    return str(
        element(
            "svg",
            element("title", title),
            element("desc", description),
            *children,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {number(width)} {number(height)}",
            width=width,
            height=height,
            role="img",
        )
    )
