"""The usual backlash: from the lenses of a job when there are enough of them, else what common practice says."""

import math
from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import Lens, Reading
from tapehook.job.records import Axis
from tapehook.prep import prepare
from tapehook.prep.usual import USUAL_PLAY_DEG, USUAL_PLAY_RMS_DEG, UsualPlay, usual_play
from tests.prep.jobs import DISTANCES_M, a_job, a_lens, read_off

Readings = Mapping[str, Mapping[Axis, Sequence[Reading]]]


def _kit(plays_deg: Sequence[float], **options: object) -> tuple[list[Lens], Readings]:
    """Lenses with those backlashes, read without noise."""
    lenses = [a_lens(f"L{i}") for i in range(len(plays_deg))]
    readings: Readings = {
        lens.id: {"focus": read_off(lens_id=lens.id, play_deg=play, noise_deg=0.0, **options)}  # type: ignore[arg-type]  # by name
        for lens, play in zip(lenses, plays_deg, strict=True)
    }
    return lenses, readings


@given(st.lists(st.floats(0.0, 2.0), min_size=5, max_size=9), st.sampled_from([250.0, -250.0]))
def test_five_lenses_say_what_is_usual(plays_deg: list[float], turn_deg: float) -> None:
    """Mean and root mean square of the lenses read both ways, whichever way their positions rise."""
    found = usual_play(*_kit(plays_deg, turn_deg=turn_deg))
    assert found.mean_deg == pytest.approx(sum(plays_deg) / len(plays_deg), abs=1e-6)
    assert found.rms_deg == pytest.approx(math.sqrt(sum(p * p for p in plays_deg) / len(plays_deg)), abs=1e-6)
    assert found.source == f"{len(plays_deg)} lenses of this job read both ways"


def test_four_lenses_are_too_few() -> None:
    """Common practice stands, called that: 0 to 0.8 degrees, all alike likely: root mean square 0.8/sqrt(3)."""
    found = usual_play(*_kit([1.5] * 4))
    assert found == UsualPlay()
    assert found.source == "common practice"
    assert USUAL_PLAY_DEG == 0.4
    assert pytest.approx(0.8 / math.sqrt(3.0)) == USUAL_PLAY_RMS_DEG


def test_lenses_read_one_way_are_not_counted() -> None:
    """Nor those with fewer than three pairs: five lenses, of which one tells nothing, are four."""
    for instead in (
        read_off(lens_id="L4", ways=("near_to_far",)),
        read_off(lens_id="L4", ways=(None,)),
        read_off(DISTANCES_M[:2], lens_id="L4"),
    ):
        lenses, readings = _kit([0.5] * 5)
        assert usual_play(lenses, {**readings, "L4": {"focus": instead}}) == UsualPlay()


def test_lenses_of_unknown_turn_are_not_counted() -> None:
    """Counts without the counts of a turn cannot be told in degrees."""
    lenses, readings = _kit([0.5] * 5)
    lenses[4] = a_lens("L4", unit="count", units_per_turn=None)
    assert usual_play(lenses, readings) == UsualPlay()


def test_counts_are_told_in_degrees() -> None:
    """A lens in counts of 3600 a turn, ten to a degree, counts with its degrees of ring."""
    lenses, readings = _kit([0.5] * 4)
    lenses.append(a_lens("L4", unit="count", units_per_turn=3600.0))
    counts = read_off(lens_id="L4", play_deg=0.5, noise_deg=0.0, units_per_deg=10.0)
    found = usual_play(lenses, {**readings, "L4": {"focus": counts}})
    assert found.mean_deg == pytest.approx(0.5, abs=1e-6)


def test_one_slip_does_not_move_it() -> None:
    """A reading a turn out in one of the five lenses: the median of its pairs does not notice."""
    lenses, readings = _kit([0.5] * 5)
    wrong = list(readings["L0"]["focus"])
    wrong[3] = wrong[3].model_copy(update={"position": wrong[3].position + 360.0})
    found = usual_play(lenses, {**readings, "L0": {"focus": wrong}})
    assert found.mean_deg == pytest.approx(0.5, abs=0.01)


def test_lenses_without_readings_say_nothing() -> None:
    """No lens, or none that was read."""
    assert usual_play([], {}) == UsualPlay()
    assert usual_play([a_lens()], {"L1": {}}) == UsualPlay()


def test_a_one_way_lens_is_widened_by_what_is_usual_here() -> None:
    """Beside five lenses with 1.6 degrees of play a lens read one way has a wider band than beside 0.2, and says so."""
    bands = {}
    for play in (0.2, 1.6):
        lenses = [a_lens(f"L{i}") for i in range(6)]
        readings = [r for i in range(5) for r in read_off(lens_id=f"L{i}", play_deg=play, seed=i)]
        readings += read_off(lens_id="L5", ways=("near_to_far",), seed=9)
        entry = prepare(a_job(lenses, readings)).lens("L5")
        assert entry.focus_map is not None
        assert entry.one_way
        assert any("5 lenses of this job read both ways" in said for said in entry.assumptions)
        bands[play] = float(entry.focus_map.position_band(1.0)[1][0])
    assert bands[1.6] > 3.0 * bands[0.2]
    assert bands[1.6] == pytest.approx(1.96 * 0.8, rel=0.1)
