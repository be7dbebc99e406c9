"""Focus splits against published figures, and the thin-lens algebra they rest on."""

import numpy as np
import pytest

from tapehook.optics import Pupil
from tapehook.shot import split_focus

FOOT_M = 0.3048


def test_navy_training_manual() -> None:
    """US Navy, NAVEDTRA 14209 (Photography, Basic): far 10.2 ft and near 9.8 ft are split at 10 ft (9.996), to 0.5 %.

    Its rule P = 2 D d/(D + d) counts from the lens; 8 inches of bellows or barrel would not show at this tolerance.
    """
    lens_at_plane = Pupil(0.0, 1.0)
    split = split_focus(np.array([10.2, 9.8]) * FOOT_M, 0.05, 25e-6, lens_at_plane)
    assert split.focus_m / FOOT_M == pytest.approx(10.0, rel=5e-3)


def test_two_and_three_metres() -> None:
    """f 50 mm, c 0.025 mm, subjects 2 and 3 m from the principal plane of a thin lens: 2.4 m and N 8.5106.

    By hand: 1/s = (1/2 + 1/3)/2, so s = 2.4 m; N = f^2 (1/2 - 1/3)/(2 c (1 - f/s)) = 8.5106. The image plane lies
    f s/(s - f) = 51.064 mm behind the lens.
    """
    behind_m = 0.05 * 2.4 / 2.35
    split = split_focus(np.array([2.0, 3.0]) + behind_m, 0.05, 25e-6, Pupil(0.05, 1.0))
    assert split.focus_m - behind_m == pytest.approx(2.4, abs=1e-9)
    assert split.f_number == pytest.approx(8.5106, abs=5e-5)
