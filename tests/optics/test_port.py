"""Flat and dome ports, against published figures and a ray traced through the dome."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.port import FRESH_INDEX, SEA_INDEX, Port


def test_a_flat_port_shows_things_at_three_quarters() -> None:
    """Water of index 4/3: 3 m before a thin flat port look 2.25 m away (apparent depth, Hecht); infinity stays."""
    port = Port(0.2, 4.0 / 3.0)
    assert port.seen_m(3.2) == pytest.approx(2.45)
    assert port.seen_m(np.inf) == np.inf
    assert port.nearer == pytest.approx(4.0 / 3.0)


def test_a_thin_dome_shows_infinity_at_three_radii() -> None:
    """Focal length -3 R for water of 4/3, that is four radii from the middle (D. Knight, Dome port theory)."""
    port = Port(0.15, 4.0 / 3.0, radius_m=0.1)
    assert port.infinity_seen_m == pytest.approx(0.15 + 0.3)
    assert port.seen_m(1.15) == pytest.approx(0.15 + 1.0 / (1.0 / 0.3 + 4.0 / 3.0))
    assert port.nearer == 1.0


def through_dome(port: Port, subject_m: float) -> float:
    """Where a ray near the axis seems to come from, traced by Snell's law and nothing else, from the image plane."""
    height, angle = 0.0, 1e-5 / subject_m
    z, index = subject_m, port.water_index
    outer, inner = port.radius_m, port.radius_m - port.glass_m
    middle = port.front_m - port.radius_m
    for radius, behind in ((outer, port.glass_index), (inner, 1.0)):
        # The ray runs toward the camera: z falls by cos, height rises by sin.
        dz, dy = -math.cos(angle), math.sin(angle)
        along = (z - middle) * dz + height * dy
        reach = -along - math.sqrt(along**2 - ((z - middle) ** 2 + height**2 - radius**2))
        z, height = z + reach * dz, height + reach * dy
        normal = math.asin(height / radius)
        bent = math.asin(index / behind * math.sin(angle + normal))
        angle, index = bent - normal, behind
    return z + height / math.tan(angle)


@pytest.mark.parametrize("subject_m", [0.4, 1.0, 5.0, 50.0])
def test_a_thick_dome_against_a_traced_ray(subject_m: float) -> None:
    """A dome of acrylic 10 mm thick, in sea water, to a ten-thousandth of the distance."""
    port = Port(0.18, SEA_INDEX, radius_m=0.11, glass_m=0.010)
    assert port.seen_m(subject_m) == pytest.approx(through_dome(port, subject_m), rel=1e-4)


def test_sea_water_by_its_published_formula() -> None:
    """Quan and Fry 1995 at 35 parts of salt, 20 degrees, 589.3 nm; fresh water at no salt."""

    def index(salt: float, t: float, nm: float) -> float:
        made = 1.31405 + (1.779e-4 - 1.05e-6 * t + 1.6e-8 * t * t) * salt - 2.02e-6 * t * t
        return made + (15.868 + 0.01155 * salt - 0.00423 * t) / nm - 4382.0 / nm**2 + 1.1455e6 / nm**3

    assert pytest.approx(index(35.0, 20.0, 589.3), abs=6e-4) == SEA_INDEX
    assert pytest.approx(index(0.0, 20.0, 589.3), abs=6e-4) == FRESH_INDEX


@given(
    st.floats(0.25, 200.0),
    st.sampled_from([math.inf, 0.07, 0.12]),
    st.floats(0.0, 0.02),
    st.sampled_from([1.333, 1.339]),
)
def test_there_and_back(subject_m: float, radius_m: float, glass_m: float, index: float) -> None:
    """What the lens sees stands where it stood."""
    port = Port(0.2, index, radius_m, glass_m)
    assert port.subject_m(port.seen_m(subject_m)) == pytest.approx(subject_m, rel=1e-6)


def test_what_no_water_holds() -> None:
    """Farther than infinity is seen there is only infinity; behind the port there is only the port."""
    dome = Port(0.15, 4.0 / 3.0, radius_m=0.1)
    assert dome.subject_m([0.45, 2.0, np.inf]).tolist() == [np.inf] * 3
    assert dome.subject_m(0.1) == pytest.approx(0.15)
    assert Port(0.15, glass_m=0.01).subject_m(0.142) == pytest.approx(0.15)
    assert np.isnan(dome.seen_m(0.1))


@pytest.mark.parametrize("radius_m, glass_m, index", [(0.1, 0.1, 1.33), (0.1, -0.01, 1.33), (0.1, 0.0, 0.9)])
def test_what_is_no_port_is_refused(radius_m: float, glass_m: float, index: float) -> None:
    """Glass as thick as the dome, or water thinner than air."""
    with pytest.raises(ValueError, match="indices"):
        Port(0.2, index, radius_m, glass_m)
