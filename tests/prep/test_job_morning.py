"""A morning in the table of a job: judged with the rest of it, on the kit and on each lens checked."""

import math
from typing import Any

import pytest

from tapehook.finding import Finding
from tapehook.job import ChartTest, Job, MorningCheck
from tapehook.job.records import Approach
from tapehook.prep import Prep, prepare
from tapehook.prep.job_morning import job_morning, last_morning
from tests.prep.jobs import a_job, a_lens, read_off, true_position

IDS = ("L1", "L2", "L3", "L4")
PIVOT_M = 0.041 + 0.05 / 1.15
"""From the image plane to the front focal point, where a shift of the sensor is the same at every distance."""
ROOM_UM = 2.8 * 0.9 * (25.0**2 - 5.0**2) ** 0.5
"""The shift that takes all the depth of these lenses at T2.8: N sqrt(c^2 - b0^2), T/N from a transmission of 81 %."""


def _sharp_at(distance_m: float, shift_um: float) -> float:
    """Where the ring stands sharp with the sensor so far back, at the centre of its play."""
    q = 1.0 / (distance_m - PIVOT_M) - shift_um * 1e-6 / 0.05**2
    return float(true_position(PIVOT_M + 1.0 / q))


def _row(name: str, shift_um: float, **said: Any) -> MorningCheck:  # noqa: ANN401 - fields of the record
    """A check at 3 m with the sensor so far back."""
    position = _sharp_at(3.0, shift_um)
    return MorningCheck.model_validate({"lens_id": name, "chart_distance_m": 3.0, "position": position, **said})


def _prep(rows: list[MorningCheck], **job: object) -> Prep:
    lenses = [a_lens(name, serial=name) for name in IDS]
    readings = [one for name in IDS for one in read_off(lens_id=name, noise_deg=0.02)]
    made: Job = a_job(lenses, readings)
    return prepare(made.model_copy(update={"shooting_stop": "T2.8", "morning": tuple(rows), **job}))


def _found(prep: Prep, code: str) -> list[Finding]:
    return [one for one in prep.findings if one.code == code]


def test_a_moved_kit_is_found_on_kit_and_lenses() -> None:
    """All alike: the kit is told, and each lens with its share of the depth, which is the shift over the room."""
    prep = _prep([_row(name, um, date="2026-11-26") for name, um in zip(IDS, (-40.0, -41.0, -39.0), strict=False)])
    (kit,) = _found(prep, "morning.moved")
    assert kit.message.startswith("Morning of 2026-11-26: 3 lenses agree")
    lenses = _found(prep, "morning.lens")
    assert {one.lens_id for one in lenses} == {"L1", "L2", "L3"}
    for one, um in zip(sorted(lenses, key=lambda found: str(found.lens_id)), (40.0, 41.0, 39.0), strict=True):
        assert one.figure is not None
        assert one.figure.stop == "T2.8"
        assert one.figure.value == pytest.approx(100.0 * um / ROOM_UM, abs=100.0 * 2.0 / ROOM_UM)
        assert "too near" in one.message
        assert "It moved with the kit" in one.next_step
        assert one in prep.lens(str(one.lens_id)).findings


def test_no_rows_no_word() -> None:
    """A job without a table is as it was."""
    prep = _prep([])
    assert job_morning(prep) is None
    assert not [one for one in prep.findings if one.code.startswith("morning.")]


@pytest.mark.parametrize("lenses, more", [(1, "2 more"), (2, "1 more")])
def test_too_few_say_how_many_more(lenses: int, more: str) -> None:
    """One lens or two are judged by themselves, and the kit is not."""
    prep = _prep([_row(name, -40.0) for name in IDS[:lenses]])
    (few,) = _found(prep, "morning.few")
    assert few.severity == "info"
    assert more in few.next_step
    assert len(_found(prep, "morning.lens")) == lenses
    found = job_morning(prep)
    assert found is not None
    assert found.kit is None


def test_a_lens_on_its_map_is_not_accused() -> None:
    """Within what the check can tell it is info, and asks for nothing."""
    prep = _prep([_row(name, 0.0) for name in IDS[:3]])
    assert {one.severity for one in _found(prep, "morning.lens")} == {"info"}


@pytest.mark.parametrize("stop, again", [("T2", True), ("T16", False)])
def test_a_check_that_cannot_tell_a_quarter_asks_for_another(stop: str, *, again: bool) -> None:
    """On its map within a +- of over a quarter of the depth is no reason to do nothing; at T16 it is."""
    prep = _prep([_row(name, 0.0) for name in IDS[:3]], shooting_stop=stop)
    for one in _found(prep, "morning.lens"):
        assert one.figure is not None
        assert one.figure.plus_minus is not None
        assert (one.figure.plus_minus >= 25.0) is again
        assert one.next_step.startswith("Check it again wide open" if again else "Nothing to do")


def test_the_last_morning_counts() -> None:
    """Of several days the latest; rows without a date only where there are no others."""
    rows = [_row("L1", 0.0, date="2026-11-25"), _row("L2", 0.0, date="2026-11-26"), _row("L3", 0.0)]
    assert last_morning(a_job(morning=rows)) == (rows[1],)
    assert last_morning(a_job(morning=rows[2:])) == (rows[2],)


def test_what_cannot_be_judged_is_told() -> None:
    """A chart nearer than the map begins, and a lens without a map: each said on its lens."""
    near = MorningCheck(lens_id="L1", chart_distance_m=0.2, position=10.0)
    prep = _prep([near, *(_row(name, 0.0) for name in IDS[1:])])
    (one,) = _found(prep, "morning.unjudged")
    assert one.lens_id == "L1"
    assert "no nearer than its map begins" in one.message
    assert len(_found(prep, "morning.lens")) == 3


@pytest.mark.parametrize("way, ahead", [("near_to_far", -1.0), ("far_to_near", 1.0)])
def test_the_way_the_ring_was_turned_takes_the_play_out(way: Approach, ahead: float) -> None:
    """A check read half a play ahead of the glass comes back as none, and surer than one whose way is not known."""
    play_deg = 2.0
    lenses = [a_lens(name, serial=name) for name in IDS[:1]]
    job = a_job(lenses, read_off(play_deg=play_deg, noise_deg=0.02))
    position = float(true_position(3.0)) + ahead * play_deg / 2.0
    said = MorningCheck(lens_id="L1", chart_distance_m=3.0, position=position, approach=way)
    both = [said, said.model_copy(update={"approach": None})]
    known, unknown = (job_morning(prepare(job.model_copy(update={"morning": (one,)}))) for one in both)
    assert known is not None
    assert unknown is not None
    assert abs(known.checked[0].shift_m) < 3e-6
    assert abs(unknown.checked[0].shift_m) > 10e-6
    assert known.checked[0].sd_m < unknown.checked[0].sd_m


def test_a_flange_known_before_is_no_work_of_the_night() -> None:
    """A lens whose chart tests had the sensor too far back already is told so beside what the morning found."""
    charts = tuple(
        ChartTest(lens_id="L1", chart_distance_m=distance_m, position=_sharp_at(distance_m, 40.0))
        for distance_m in (1.0, 1.5, 3.0, 6.0, 10.0)
    )
    prep = _prep([_row(name, 40.0) for name in IDS[:3]], charts=charts)
    (lens,) = [one for one in _found(prep, "morning.lens") if one.lens_id == "L1"]
    assert "its chart tests had it" in lens.message
    assert "too far back before" in lens.message


def test_a_lens_prepared_alone_leaves_the_others_out() -> None:
    """Its own check is judged as with all of them; of the kit nothing is said; the checks of others stop nothing."""
    whole = _prep([_row(name, 40.0) for name in IDS[:3]])
    job = whole.job.model_copy(update={"lenses": whole.job.lenses[:1]})
    alone = prepare(job)
    assert _found(alone, "morning.lens")[0].figure == _found(whole, "morning.lens")[0].figure
    assert [one.lens_id for one in alone.findings if one.code.startswith("morning.")] == ["L1"]
    assert not [one for one in prepare(job.model_copy(update={"lenses": ()})).findings if "morning" in one.code]


def test_heat_of_each_check() -> None:
    """The temperature in a row tells what the drift of that lens accounts for."""
    cold, warm = (read_off(lens_id="L1", method="taped", noise_deg=0.01) for _ in range(2))
    apart = [one.model_copy(update={"temperature_c": 20.0}) for one in cold]
    apart += [one.model_copy(update={"temperature_c": 0.0, "position": one.position - 0.5}) for one in warm]
    job = a_job([a_lens()], apart, morning=(_row("L1", 20.0, temperature_c=0.0),))
    (lens,) = _found(prepare(job), "morning.lens")
    assert "drift with heat accounts for" in lens.message


def test_infinity_is_a_chart_too() -> None:
    """A collimator's chart lies at infinity."""
    row = MorningCheck(lens_id="L1", chart_distance_m=math.inf, position=float(true_position(math.inf)))
    (lens,) = _found(prepare(a_job(morning=(row,))), "morning.lens")
    assert "∞" in lens.message
