"""Close-up lenses on a lens of the demo job: the published range, the map shifted in vergence, the depth as wide."""

import math
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import Filter, read_job
from tapehook.optics import focus_state
from tapehook.prep import LensPrep, prepare
from tapehook.prep.close_up import CloseUp, NoCloseUp, Wanted, close_up_of, powers_of
from tapehook.prep.shooting_map import map_at
from tests.cli.running import ROOT
from tests.prep.test_shifts import _stopped

FRONT_M = 0.15
SPLITS = (
    Filter(id="split 1", kind="split_dioptre", power_dpt=1.0),
    Filter(id="split 2", kind="split_dioptre", power_dpt=2.0),
)


@cache
def entry() -> LensPrep:
    """L05 of the demo job, whose pupil is known."""
    job = read_job(ROOT / "src" / "tapehook" / "demo_job")
    own = {
        "lenses": tuple(one for one in job.lenses if one.id == "L05"),
        "readings": tuple(one for one in job.readings if one.lens_id == "L05"),
        "charts": (),
    }
    return prepare(job.model_copy(update=own), brief=True).lenses[0]


def with_power(power: float, split: tuple[float, float] | None = None) -> CloseUp:
    """That lens at its shooting stop with a close-up lens at a known place."""
    return close_up_of(entry(), Wanted(power, FRONT_M, split), entry().shooting, SPLITS)


@pytest.mark.parametrize("power, distance_m", [(0.5, 2.0), (1.0, 1.0), (2.0, 0.5)])
def test_at_infinity_it_is_sharp_at_one_over_the_power(power: float, distance_m: float) -> None:
    """+1 at 1 m and +2 at 0.5 m from the close-up lens (Wikipedia, Close-up lens), and the picture grows by 1 + P X."""
    found = with_power(power)
    assert found.far_m - FRONT_M == pytest.approx(distance_m, rel=1e-9)
    close_m = entry().close_focus_m
    assert close_m is not None
    from_front = close_m - FRONT_M
    assert found.near_m - FRONT_M == pytest.approx(from_front / (1 + power * from_front), rel=1e-9)
    assert found.magnified == pytest.approx(1 + power * from_front)


@given(power=st.floats(0.1, 8))
def test_the_map_is_shifted_by_the_power_and_the_depth_keeps_its_width(power: float) -> None:
    """At each mark the scale's vergence and the subject's differ by P; the ring stands where the map has the scale's
    distance; near and far lie evenly about it in vergence, as the lens sees them."""
    found = with_power(power)
    lens_map, pupil, focal_m = entry().focus_map, entry().pupil, entry().depth_focal_m
    assert lens_map is not None
    assert pupil is not None
    assert focal_m is not None
    for mark in found.marks:
        scale = 0.0 if math.isinf(mark.scale_m) else 1 / (mark.scale_m - FRONT_M)
        assert 1 / (mark.subject_m - FRONT_M) - scale == pytest.approx(power, rel=1e-6)
        assert mark.position == pytest.approx(float(lens_map.curve([mark.scale_m])[0]), abs=1e-9)
        assert mark.near_m is not None
        assert mark.far_m is not None
        assert mark.near_m < mark.subject_m < mark.far_m
        state = focus_state(mark.scale_m, focal_m, pupil)
        from_pupil = [1 / (1 / (end - FRONT_M) - power) + FRONT_M - float(state.pupil_to_sensor_m)
                      for end in (mark.near_m, mark.far_m)]  # fmt: skip
        ends = [1 / from_pupil[0], 1 / from_pupil[1]]
        assert (ends[0] + ends[1]) / 2 == pytest.approx(1 / float(state.pupil_distance_m), abs=1e-6)


def test_a_split_dioptre_holds_two() -> None:
    """0.65 m and 3.15 m, half a metre and three from the glass: 2 - 1/3 dpt by arithmetic; of 1 and 2 dpt the second is
    nearer, its half sharp at 1/(1/3 + 2) from the glass, and too far off at the shooting stop."""
    split = with_power(0.0, (0.65, 3.15)).split
    assert split is not None
    assert split.power_dpt == pytest.approx(2 - 1 / 3)
    assert split.on_hand is not None
    assert split.on_hand.id == "split 2"
    assert split.covered_m == pytest.approx(FRONT_M + 1 / (1 / 3 + 2))
    assert split.used is not None
    assert split.used > 1
    (finding,) = with_power(0.0, (0.65, 3.15)).findings
    assert (finding.code, finding.severity) == ("close_up.split", "fix")
    exact = close_up_of(entry(), Wanted(0.0, FRONT_M, (0.65, FRONT_M + 1.0)), entry().shooting, SPLITS[:1])
    assert exact.split is not None
    assert exact.split.used == pytest.approx(0.0, abs=1e-9)
    assert exact.findings[0].severity == "info"
    none = close_up_of(entry(), Wanted(0.0, FRONT_M, (0.65, 3.15)), entry().shooting, ())
    assert "none is on hand" in none.findings[0].message


@pytest.mark.parametrize(
    "wanted, field",
    [
        (Wanted(1.0, 0.005), "front"),
        (Wanted(1.0, 5.0), "front"),
        (Wanted(0.0, FRONT_M, (3.0, 0.6)), "near"),
    ],
)
def test_what_cannot_be_is_refused(wanted: Wanted, field: str) -> None:
    """A close-up lens behind the pupil or beyond close focus, and subjects the wrong way round."""
    with pytest.raises(NoCloseUp) as refusal:
        close_up_of(entry(), wanted, entry().shooting, ())
    assert refusal.value.field == field


def test_powers_add_up() -> None:
    """Stacked close-up lenses count as one; a split dioptre is none, and what is not in the tray is refused."""
    tray = (Filter(id="a", kind="close_up", power_dpt=1.0), Filter(id="b", kind="close_up", power_dpt=2.0), *SPLITS)
    assert powers_of(tray, ("a", "b", "b"), "close_up") == 5.0
    with pytest.raises(NoCloseUp):
        powers_of(tray, ("split 1",), "close_up")


def test_the_ring_stands_where_the_strip_has_it() -> None:
    """A lens whose best focus moves on stopping down: positions of the moved map, and it is said."""
    (moving,) = prepare(_stopped(-40.0)).lenses
    moved = map_at(moving)
    assert moved is not None
    found = close_up_of(moving, Wanted(1.0, 0.3), moving.shooting, ())
    mark = found.marks[len(found.marks) // 2]
    assert mark.position == pytest.approx(float(moved.curve([mark.scale_m])[0]))
    assert any(sentence.startswith("Ring positions are moved for T4") for sentence in found.assumptions)
