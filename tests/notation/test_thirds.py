"""Stops said in thirds: the nearest third, and the figure where the third does not say it."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import (
    format_angle,
    format_density,
    format_shutter_time,
    format_stop_in_thirds,
    format_thirds,
    parse_stop,
)


@pytest.mark.parametrize(
    "stops, text",
    [
        (0.0, "0 stops"),
        (1 / 3, "1/3 stop"),
        (1.0, "1 stop"),
        (4 / 3, "1 1/3 stops"),
        (-5 / 3, "-1 2/3 stops"),
        (1.25, "1 1/3 stops (1.25)"),
        (0.12, "0.12 stop"),
        (-0.01, "0 stops"),
    ],
)
def test_thirds_in_words(stops: float, text: str) -> None:
    """One and less is a stop, more are stops; what a third does not say is said as a figure."""
    assert format_thirds(stops) == text


@given(stops=st.floats(-50, 50))
def test_the_figure_is_never_far_off(stops: float) -> None:
    """What is said, read back, is within 0.05 stop of what was meant."""
    text = format_thirds(stops)
    figure = re.search(r"\(([-.0-9]+)\)", text)
    if figure:
        back = float(figure[1])
    elif "." in text:
        back = float(text.split()[0])
    else:
        parts = [part for part in text.removeprefix("-").split() if part[0].isdigit()]
        back = sum(float(a) / float(b or 1) for a, _, b in (part.partition("/") for part in parts))
        back = -back if text.startswith("-") else back
    assert abs(back - stops) < 0.0501


@given(number=st.floats(0.5, 128))
def test_a_stop_in_thirds_reads_back(number: float) -> None:
    """A stop in thirds is one that can be read, within a sixth of a stop; off a third the T-number stands beside it."""
    text = format_stop_in_thirds(number)
    third, _, rest = text.partition(" (")
    off = abs(2.0 * math.log2(parse_stop(third).exact / number))
    assert off < 1 / 6 + 1e-9
    assert bool(rest) == (off >= 0.05)


def test_times_angles_and_densities() -> None:
    """As the trade writes them, and nothing that is no figure."""
    assert format_shutter_time(1 / 48) == "1/48 s"
    assert format_shutter_time(1.5) == "1.5 s"
    assert format_angle(172.8) == "172.8°"
    assert [format_density(d) for d in (0.6, 0.15, 1.2)] == ["0.6", "0.15", "1.2"]
    for writer in (format_thirds, format_stop_in_thirds, format_shutter_time, format_angle, format_density):
        with pytest.raises(ValueError, match="must be"):
            writer(math.nan)
