"""Colours of pictures: paper and ink, one accent, and data colours that colour-blind eyes tell apart.

Data colours: M. Okabe and K. Ito, Color Universal Design (2008). No picture relies on colour alone: what a colour
says is also said by a word, a sign, a hatch or the order. Green means "done" and nothing else.
"""

from dataclasses import dataclass

ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one look, as "#RRGGBB".

    ``ink`` writes, ``quiet`` writes what matters less, ``line`` rules; ``sharp`` fills the sharp zone and
    ``sharp_edge`` hatches its ends; ``accent`` draws curves and ``band`` their uncertainty; ``fault`` marks what must
    be looked at; ``series`` colours parts of a whole in order.
    """

    paper: str
    ink: str
    quiet: str
    line: str
    sharp: str
    sharp_edge: str
    accent: str
    band: str
    fault: str
    series: tuple[str, ...]


PAPER = Theme(
    paper="#FFFFFF",
    ink="#1A1A1A",
    quiet="#55534B",
    line="#C9C6BC",
    sharp="#DBE2E9",
    sharp_edge="#6B7F93",
    accent=BLUE,
    band="#B9D9EC",
    fault="#B84F00",
    series=(SKY_BLUE, ORANGE, REDDISH_PURPLE, "#A8A294", YELLOW, BLUE),
)
"""Print and prep: ink on paper. ``fault`` is vermilion darkened until it can be read as text on white (5.2 to 1)."""

DARK = Theme(
    paper="#11110F",
    ink="#F1ECDF",
    quiet="#A9A392",
    line="#4A473D",
    sharp="#3A4855",
    sharp_edge="#A9BCCD",
    accent=SKY_BLUE,
    band="#254A60",
    fault="#FF7A33",
    series=(SKY_BLUE, ORANGE, REDDISH_PURPLE, "#A8A294", YELLOW, "#4C9BD0"),
)
"""On set: dim, so that the screen does not light the face of who looks at it."""
