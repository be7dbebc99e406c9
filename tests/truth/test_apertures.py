"""Aperture scales against published ones: labels, the values behind them, and T from the f-number."""

import math
from itertools import pairwise

import pytest

from tapehook.notation import FULL_STOPS, HALF_STOPS, THIRD_STOPS, Stop, format_stop, parse_stop
from tapehook.optics import t_from_f_number

# Kodak, Optical Formulas and Their Applications, pamphlet AA-26: full-stop engravings, n = 0 to 11. Exact labels.
_FULL = "1 1.4 2 2.8 4 5.6 8 11 16 22 32 45"

# Table of fractional f-number scales, kameraarkasi.org, fstop.html: third stops 1 to 22, and half stops.
_THIRDS = "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22"
_HALVES = "1.2 1.7 2.4 3.3 4.8 6.7 9.5 13 19"

FULL, THIRDS, HALVES = (labels.split(" ") for labels in (_FULL, _THIRDS, _HALVES))
ALL: list[str] = sorted({*FULL, *HALVES, *THIRDS}, key=float)

# By arithmetic, 2^(n/2) for the labels of AA-26 that are rounded.
BEHIND = {"1.4": 1.4142, "2.8": 2.8284, "5.6": 5.6569, "11": 11.314, "22": 22.627, "45": 45.255}


def test_full_stop_labels_are_the_engraved_ones() -> None:
    """Kodak AA-26: 1, 1.4, 2 ... 45, each read as T and f, and standing for 2^(n/2)."""
    labels = [label for label, _ in FULL_STOPS]
    start = labels.index("1")

    assert labels[start : start + len(FULL)] == FULL
    for step, label in enumerate(FULL):
        stop = parse_stop(f"T{label}")
        assert stop == Stop(float(label), stop.exact, "T", f"T{label}")
        assert stop.exact == pytest.approx(2 ** (step / 2), rel=1e-14)
        assert parse_stop(f"f/{label}").exact == stop.exact


@pytest.mark.parametrize("label, exact", BEHIND.items())
def test_the_value_behind_a_rounded_label(label: str, exact: float) -> None:
    """Arithmetic on Kodak AA-26: 1.4142, 2.8284 and so on, to the digits given; labels lie within 3 %."""
    stop = parse_stop(label)

    assert stop.exact == pytest.approx(exact, rel=5e-5)
    assert stop.number == pytest.approx(stop.exact, rel=0.03)


def test_third_stop_labels_are_the_published_ones() -> None:
    """Scale table at kameraarkasi.org: 28 labels from 1 to 22, each within 5 % of 2^(k/6)."""
    assert [label for label, _ in THIRD_STOPS] == THIRDS
    for step, (label, exact) in enumerate(THIRD_STOPS):
        assert exact == pytest.approx(2 ** (step / 6), rel=1e-14)
        assert float(label) == pytest.approx(exact, rel=0.05)


def test_half_stop_labels_are_the_published_ones() -> None:
    """Scale table at kameraarkasi.org: 1.2 to 19, halfway in stops between full ones."""
    assert [label for label, _ in HALF_STOPS] == HALVES
    for step, (label, exact) in enumerate(HALF_STOPS):
        assert exact == pytest.approx(2 ** ((step + 0.5) / 2), rel=1e-14)
        assert float(label) == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize("label", ALL)
def test_each_published_label_is_read_and_written_as_itself(label: str) -> None:
    """The labels of Kodak AA-26 and of the kameraarkasi.org table survive reading and writing."""
    assert format_stop(parse_stop(label).number) == f"T{label}"


@pytest.mark.parametrize("label", ALL)
def test_no_label_is_further_off_than_an_engraving_may_be(label: str) -> None:
    """The rounding of labels stays within what the engraving itself may be off: 12 % of area, 6 % of diameter.

    Proposed American Standard PH22.90, Aperture Calibration of Motion Picture Lenses, J. SMPTE 59 (1952), 9.1.
    """
    stop = parse_stop(label)
    assert abs(stop.number / stop.exact - 1) <= 0.06


def test_a_third_of_a_stop_is_the_sixth_root_of_two() -> None:
    """Three added thirds make the next full stop of Kodak AA-26, in light a factor of two (arithmetic)."""
    for label, following in pairwise(FULL):
        one, two = (parse_stop(f"T{label} {part}").number for part in ("1/3", "2/3"))
        start, end = parse_stop(label).exact, parse_stop(following).exact
        assert [one / start, two / one, end / two] == pytest.approx([2 ** (1 / 6)] * 3, rel=1e-14)


def test_t_number_from_f_number_and_transmission() -> None:
    """N 2.0 with a transmission of 0.75 is T2.309: Wikipedia, f-number, section T-stop. Within 0.001."""
    assert float(t_from_f_number(2.0, 0.75)) == pytest.approx(2.309, abs=0.001)
    assert math.isclose(float(t_from_f_number(2.0, 1.0)), 2.0)
