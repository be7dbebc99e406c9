"""The chance to be sharp of people who stray, against drawing them; the depth in centimetres against its formula."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics import depth_of_field, half_width_dpt, thin_pupil
from tapehook.shot.forgiveness import Spreads, chance_of_body

F_M, N, COC_M = 0.085, 1.4, 0.025e-3


def _drawn(u: float, w: float, spreads: Spreads, known: float, half_play: float, scatter_sd: float) -> float:
    """The share of 200,000 people drawn one by one who are sharp: each error drawn for itself."""
    rng = np.random.default_rng(3)
    count = 200_000
    place = u + rng.normal(0, spreads.missed_mark_m, count)
    place += rng.normal(0, spreads.lean_m, count) + rng.normal(0, spreads.sway_m, count)
    focus = 1 / u + w * (known + half_play * rng.choice([-1.0, 1.0], count) + rng.normal(0, 1, count) * scatter_sd)
    sharp = (place > 0) & (np.abs(focus - 1 / np.where(place > 0, place, 1.0)) <= w)
    return float(sharp.mean())


@pytest.mark.parametrize("f_number", [1.4, 2.8, 5.6])
@pytest.mark.parametrize("u_m", [0.5, 1.2, 2.5, 6.0])
@pytest.mark.parametrize("off", [(0.0, 0.0, 0.0), (0.3, 0.2, 0.25)])
def test_the_chance_is_that_of_people_drawn(u_m: float, f_number: float, off: tuple[float, float, float]) -> None:
    """Within 2 points of a Monte Carlo of 200,000, from half a metre to six, with and without errors of the lens."""
    w = float(half_width_dpt(f_number, F_M, COC_M))
    known, play, scatter = off
    found = chance_of_body(u_m, w, Spreads(), known=known, half_play=play, scatter_sd=scatter)
    assert found == pytest.approx(_drawn(u_m, w, Spreads(), known, play, scatter), abs=0.02)


def test_the_depth_of_an_85_wide_open() -> None:
    """85 mm, N 1.4, c 0.025 mm, 2.5 m: f^2 s/(f^2 +- N c (s - f)) from the lens gives 29 mm nearer and 30 mm farther.

    D. Jacobson, Photographic Lenses Tutorial, item 4, with s from the front principal plane; by hand near 2471.1 mm,
    far 2529.6 mm. Taped from the image plane the subject is some 9 cm nearer to the lens, and it is 27 mm either way.
    """
    s, k = 2500.0, N * 0.025 * (2500.0 - 85.0)
    near, far = s * 85**2 / (85**2 + k), s * 85**2 / (85**2 - k)
    assert (round(s - near, 1), round(far - s, 1)) == (28.9, 29.6)
    image_mm = 85 * s / (s - 85)
    depth = depth_of_field((s + image_mm) / 1e3, F_M, N, COC_M, thin_pupil(F_M))
    assert float(depth.near_m) * 1e3 == pytest.approx(near + image_mm, abs=0.05)
    assert float(depth.far_m) * 1e3 == pytest.approx(far + image_mm, abs=0.05)
    taped = depth_of_field(2.5, F_M, N, COC_M, thin_pupil(F_M))
    assert [2.5 - float(taped.near_m), float(taped.far_m) - 2.5] == pytest.approx([0.0267, 0.0273], abs=2e-4)


def test_nobody_strays_at_infinity_and_nothing_is_sharp_without_depth() -> None:
    """A horizon does not lean; where the blur floor leaves no depth nothing is sharp."""
    assert chance_of_body(math.inf, 0.01, Spreads()) == 1.0
    assert chance_of_body(2.0, 0.0, Spreads()) == 0.0


@given(st.floats(0.3, 30), st.floats(1e-4, 0.3), st.floats(0, 0.3), st.floats(-2, 2), st.floats(0, 1), st.floats(0, 1))
def test_it_is_a_chance_and_straying_more_never_helps_one_in_focus(
    u_m: float, w: float, mark_m: float, known: float, play: float, scatter: float
) -> None:
    """Between nought and one; who is taped right and strays twice as far is no surer to be sharp."""
    found = chance_of_body(u_m, w, Spreads(mark_m), known=known, half_play=play, scatter_sd=scatter)
    assert 0.0 <= found <= 1.0
    still, wild = (chance_of_body(u_m, w, Spreads(k * mark_m, k * 0.05, k * 0.01)) for k in (1.0, 2.0))
    assert wild <= still + 2e-3
