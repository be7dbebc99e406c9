"""The named choices of what counts as sharp."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import coc_diagonal_m, coc_photosites_m, coc_viewing_m

sizes_m = st.floats(1e-3, 0.1)


@given(sizes_m, sizes_m, st.floats(500, 3000))
def test_diagonal(width: float, height: float, divisor: float) -> None:
    """The diagonal by Pythagoras over the divisor; upright or lying does not matter."""
    coc = float(coc_diagonal_m(width, height, divisor))
    assert (coc * divisor) ** 2 == pytest.approx(width**2 + height**2, rel=1e-12)
    assert coc == float(coc_diagonal_m(height, width, divisor))


def test_diagonal_by_hand() -> None:
    """A 3 x 4 x 5 triangle: 30 x 40 mm over 1500 is a thirtieth of a millimetre."""
    assert float(coc_diagonal_m(0.03, 0.04)) == pytest.approx(0.05 / 1500, rel=1e-12)


def test_photosites() -> None:
    """Two photosites of 5 micrometres are ten, unless another number is chosen."""
    assert float(coc_photosites_m(5e-6)) == pytest.approx(10e-6)
    assert coc_photosites_m([5e-6, 8e-6], 1.5).tolist() == pytest.approx([7.5e-6, 12e-6])


@given(sizes_m, st.floats(0.5, 10.0), st.floats(0.3, 5.0))
def test_viewing_is_an_angle(height: float, heights: float, arcminutes: float) -> None:
    """The disc seen from its viewing distance subtends the angle asked for."""
    coc = float(coc_viewing_m(height, heights, arcminutes))
    assert math.degrees(math.atan2(coc, height * heights)) * 60.0 == pytest.approx(arcminutes, rel=1e-9)


def test_stricter_choices_are_smaller() -> None:
    """A larger divisor, a finer pitch, a nearer viewer: each asks for a smaller disc."""
    assert coc_diagonal_m(0.036, 0.024, 1730) < coc_diagonal_m(0.036, 0.024, 1500)
    assert coc_photosites_m(4e-6) < coc_photosites_m(6e-6)
    assert coc_viewing_m(0.018, 1.5) < coc_viewing_m(0.018, 3.0)
