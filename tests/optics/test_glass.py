"""Glass behind a lens against its closed form and the figure every assistant knows."""

import numpy as np
import pytest

from tapehook.optics.glass import glass_shift_m


def test_a_thin_gel_moves_the_image_by_a_third_of_itself() -> None:
    """0.1 mm of gel with n 1.5: t (n - 1)/n = 33.3 micrometres, by hand."""
    assert float(glass_shift_m(0.1e-3, 1.5)) == pytest.approx(33.333e-6, rel=1e-4)


def test_two_plates_add_up_and_air_does_nothing() -> None:
    """The shift is linear in thickness; an index of 1 is air."""
    assert glass_shift_m([1e-3, 2e-3], 1.52)[1] == pytest.approx(2 * glass_shift_m(1e-3, 1.52))
    assert np.all(glass_shift_m([1e-3, 3e-3], 1.0) == 0.0)


@pytest.mark.parametrize("thickness_m, index", [(-1e-3, 1.5), (1e-3, 0.9), (float("nan"), 1.5)])
def test_what_is_no_plate_is_refused(thickness_m: float, index: float) -> None:
    """A thickness below nought or an index below that of air is a slip, not a filter."""
    with pytest.raises(ValueError, match="thickness_m"):
        glass_shift_m(thickness_m, index)
