"""The chart of a lens's history: earlier maps over the tape, told apart without colour."""

import math

import pytest

from tapehook.picture.colours import DARK, PAPER
from tapehook.picture.history_chart import SessionCurve, history_chart
from tests.picture.reading import parse

DISTANCES = [math.inf, 5.0, 2.0, 1.0, 0.6]


def curve(title: str, share: float = 0.2) -> SessionCurve:
    """A curve that lies ``share`` off at every distance."""
    return SessionCurve(title, DISTANCES, [share] * 5, [0.05] * 5)


def chart(*curves: SessionCurve, theme: object = PAPER) -> str:
    """The chart of the usual size."""
    return history_chart(
        curves,
        newest="2026",
        stop_text="T1.4",
        system="metric",
        width=300,
        height=200,
        title="A <map>",
        theme=theme,  # type: ignore[arg-type]
    )


def test_it_names_stop_sessions_and_newest() -> None:
    """A share never stands without its stop, and each curve has its line of words."""
    text = chart(curve("2023 <b>"), curve("2024"))
    parse(text)
    assert "depth used at T1.4" in text
    assert "off that of 2026" in text
    assert "2023 &lt;b&gt;" in text
    assert "2023 &lt;b&gt;: at most 20 %" in text


def test_curves_differ_by_more_than_colour() -> None:
    """The second is dashed."""
    assert "stroke-dasharray" not in chart(curve("2023"))
    assert chart(curve("2023"), curve("2024")).count("stroke-dasharray") == 2


def test_a_large_drift_is_cut_and_a_long_name_too() -> None:
    """The picture keeps its size whatever the figures are."""
    for share in (0.0, 50.0, -50.0):
        parse(chart(curve("x" * 400, share), theme=DARK))


def test_nothing_to_draw() -> None:
    """Without an earlier session there is no picture."""
    with pytest.raises(ValueError, match="an earlier session"):
        chart()
