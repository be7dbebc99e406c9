"""Colours: readable, told apart without green, and known to be what they are called."""

import pytest

from tapehook.picture import DARK, PAPER, Theme
from tapehook.picture.colours import BLUISH_GREEN


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("theme", [PAPER, DARK], ids=["paper", "dark"])
def test_what_is_written_can_be_read(theme: Theme) -> None:
    """Text colours keep 4.5 to 1 on the paper (WCAG 2.2, success criterion 1.4.3), lines and edges 3 to 1."""
    assert all(_contrast(colour, theme.paper) >= 4.5 for colour in (theme.ink, theme.quiet, theme.fault))
    assert all(_contrast(colour, theme.paper) >= 3.0 for colour in (theme.accent, theme.sharp_edge))


@pytest.mark.parametrize("theme", [PAPER, DARK], ids=["paper", "dark"])
def test_numbers_in_the_bar_can_be_read(theme: Theme) -> None:
    """The numbers on the segments are dark on every colour of the series."""
    assert all(_contrast("#1A1A1A", colour) >= 3.0 for colour in theme.series)


@pytest.mark.parametrize("theme", [PAPER, DARK], ids=["paper", "dark"])
def test_green_is_kept_for_done(theme: Theme) -> None:
    """No picture uses the green of the palette: green means done."""
    colours = {theme.ink, theme.quiet, theme.line, theme.sharp, theme.accent, theme.band, theme.fault, *theme.series}
    assert BLUISH_GREEN not in colours
