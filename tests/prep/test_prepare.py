"""The main job on whole jobs: what it holds, that it is pure, and that nothing a crew can write down upsets it."""

import json
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.job import Camera, Criterion, Job
from tapehook.optics import depth_of_field, f_number_from_t, half_width_dpt, sharp_blur_m
from tapehook.prep import LensPrep, Prep, prep_as_json, prepare
from tapehook.prep.as_json import maps_as_json
from tests.prep.jobs import (
    BOTH,
    DISTANCES_M,
    NEAREST_M,
    TURN_DEG,
    a_job,
    a_lens,
    read_off,
    ring_read,
    true_position,
)
from tests.strategies import jobs


def _only(job: Job) -> LensPrep:
    """The prepared lens of a job of one."""
    return prepare(job).lenses[0]


def _own(entry: LensPrep, role: str = "widest") -> float:
    """The lens's own share at the worst distance."""
    view = entry.budget(role)  # type: ignore[arg-type]  # a literal by name
    assert view is not None
    return view.budget.worst_own


def _many(count: int) -> Job:
    """A job of so many lenses, each read off with its own noise and turn."""
    ids = [f"L{i:03}" for i in range(count)]
    readings = [
        reading
        for i, lens_id in enumerate(ids)
        for reading in read_off(lens_id=lens_id, seed=i, turn_deg=90.0 + i % 240, noise_deg=0.05 + i % 7 * 0.02)
    ]
    return a_job([a_lens(lens_id) for lens_id in ids], readings)


def test_map_is_that_of_the_lens() -> None:
    """Between its marks the map of a lens read well is right to a quarter of a degree, at the centre of the play."""
    found = _only(a_job()).focus_map
    assert found is not None
    between = [0.65, 0.9, 1.5, 3.0, 6.0, 20.0]
    np.testing.assert_allclose(found.position(between)[0], true_position(between), atol=0.25)


def test_same_job_same_answer() -> None:
    """Prepared twice, a job gives the same answer to the last digit: no clock, no chance, no state."""
    job = _many(5)
    first, second = prepare(job), prepare(job)
    assert json.dumps(prep_as_json(first)) == json.dumps(prep_as_json(second))
    assert json.dumps(maps_as_json(first)) == json.dumps(maps_as_json(second))


def test_a_lens_does_not_depend_on_its_neighbours() -> None:
    """Each of 300 lenses comes out as it does alone, and progress is told after each, with the total."""
    job = _many(300)
    told: list[tuple[int, int, str]] = []
    prep = prepare(job, lambda done, total, what: told.append((done, total, what)))
    assert told == [(i, 300, lens.id) for i, lens in enumerate(job.lenses, start=1)]
    assert [entry.lens.id for entry in prep.lenses] == [lens.id for lens in job.lenses]
    for lens in job.lenses[::60]:
        own = [reading for reading in job.readings if reading.lens_id == lens.id]
        alone = prepare(a_job([lens], own))
        assert json.dumps(prep_as_json(alone)["lenses"][lens.id]) == json.dumps(prep_as_json(prep)["lenses"][lens.id])


def test_order_of_readings_does_not_matter() -> None:
    """Readings written down in another order make the same map."""
    readings = read_off()
    plain, turned = (_only(a_job(readings=some)) for some in (readings, readings[::-1]))
    assert plain.focus_map is not None
    assert turned.focus_map is not None
    np.testing.assert_allclose(
        turned.focus_map.position(DISTANCES_M)[0], plain.focus_map.position(DISTANCES_M)[0], atol=1e-6
    )
    assert [row.value for row in plain.marks] == [row.value for row in turned.marks] == list(DISTANCES_M)


def test_progress_is_optional_and_empty_jobs_are_fine() -> None:
    """A job without lenses is prepared too: nothing told, nothing found about lenses."""
    told: list[object] = []
    prep = prepare(a_job([], []), lambda *news: told.append(news))
    assert told == []
    assert prep.lenses == ()
    assert {finding.code for finding in prep.findings} == {"camera.no_lenses"}
    assert isinstance(prepare(Job()), Prep)


def test_lens_with_no_data_is_kept() -> None:
    """A lens nobody read has no map and no budget, but its depth table and its findings."""
    entry = _only(a_job(readings=[]))
    assert entry.focus_map is None
    assert entry.axes["focus"].refusal == "no readings"
    assert (entry.marks, entry.rounds, entry.budgets) == ((), (), ())
    assert len(entry.depth_rows) > 3
    assert "lens.no_readings" in {finding.code for finding in entry.findings}


@pytest.mark.parametrize("distances", [(1.0,), (math.inf,), (1.0, 2.0), (1.0, 2.0, math.inf)])
def test_too_few_marks_refuse_a_map_and_say_why(distances: tuple[float, ...]) -> None:
    """One, two or three marks, infinity alone among them: no map, the reason in words, the rest of the job as usual."""
    entry = _only(a_job(readings=read_off(distances)))
    assert entry.focus_map is None
    assert entry.axes["focus"].refusal == f"a map needs marks at 4 different values, found {len(distances)}"
    assert "map.refused" in {finding.code for finding in entry.findings}
    assert entry.depth_rows


def test_lens_that_is_a_name_only() -> None:
    """A lens with nothing but an id is prepared too, and says what is missing."""
    job = a_job([a_lens().model_copy(update=dict.fromkeys(BARE))], shooting_stop=None)
    entry = _only(job)
    codes = {finding.code for finding in entry.findings}
    assert {"lens.no_focal_length", "lens.no_stop"} <= codes
    assert entry.focus_map is not None
    assert (entry.depth_rows, entry.budgets, entry.depth_uncertainty) == ((), (), None)
    assert all(row.used_widest is None and row.used_shooting is None for row in entry.marks)


BARE = (
    "focal_mm", "t_stop", "transmission", "reading_step", "units_per_turn", "close_focus_m", "serial",
    "pupil_to_sensor_mm", "pupil_magnification", "blur_floor_mm", "rises_toward",
)  # fmt: skip


def test_infinity_not_read_is_carried_on() -> None:
    """Without an infinity mark the map still reaches infinity, and is less sure there."""
    whole, short = (_only(a_job(readings=read_off(some))).focus_map for some in (DISTANCES_M, DISTANCES_M[:-1]))
    assert whole is not None
    assert short is not None
    found, half = short.position_band(math.inf)
    assert half[0] > whole.position_band(math.inf)[1][0]
    assert abs(found[0] - true_position(math.inf)) < 2 * half[0]


def test_left_handed_scale_is_the_mirror_image() -> None:
    """A ring that turns the other way has the same play, the same shares and the same findings."""
    right = _only(a_job())
    mirrored = [r.model_copy(update={"position": 1000.0 - r.position}) for r in read_off()]
    left = _only(a_job([a_lens(rises_toward="far")], mirrored))
    assert right.play is not None
    assert left.play is not None
    assert left.play.value == pytest.approx(right.play.value)
    assert _own(left) == pytest.approx(_own(right), rel=1e-6)
    assert [f.code for f in left.findings] == [f.code for f in right.findings]


@pytest.mark.parametrize("unit, per_degree", [("count", 100.0), ("percent", 100.0 / TURN_DEG), ("mm", 0.9)])
def test_unit_of_the_read_out_does_not_matter(unit: str, per_degree: float) -> None:
    """Counts, per cent or millimetres of arc: the same shares as in degrees, to a millionth."""
    plain = _only(a_job())
    other = _only(
        a_job(
            [a_lens(unit=unit, units_per_turn=360.0 * per_degree, reading_step=0.1 * per_degree)],
            read_off(units_per_deg=per_degree),
        )
    )
    assert _own(other) == pytest.approx(_own(plain), rel=1e-6)
    assert [row.used_widest for row in other.marks] == pytest.approx(
        [row.used_widest for row in plain.marks], rel=1e-4, abs=1e-6
    )


def test_units_per_turn_not_given() -> None:
    """Counts of unknown size still make a map; that a usual turn was taken is said, and changes little."""
    job = a_job([a_lens(unit="count", units_per_turn=None, reading_step=1.0)], read_off(units_per_deg=100.0))
    entry = _only(job)
    assert entry.focus_map is not None
    assert entry.focus_map.degrees_per_unit == pytest.approx(270.0 / (TURN_DEG * 100.0), rel=0.01)
    assert any("Units per turn" in sentence for sentence in entry.assumptions)
    np.testing.assert_allclose(entry.focus_map.position([0.9, 3.0])[0] / 100.0, true_position([0.9, 3.0]), atol=0.25)


def test_one_way_readings_hold_for_that_way() -> None:
    """Read one way, the map is that of the readings, not of the centre; the budget then assumes a usual play."""
    entry = _only(a_job(readings=read_off(ways=BOTH[1:], play_deg=2.0)))
    assert entry.one_way
    assert entry.play is None
    assert entry.focus_map is not None
    np.testing.assert_allclose(entry.focus_map.position([1.0, 3.0])[0], true_position([1.0, 3.0]) + 1.0, atol=0.25)
    backlash = next(term for term in entry.budgets[0].budget.terms if term.name == "backlash")
    assert backlash.assumed
    assert any("one way only" in sentence for sentence in entry.assumptions)


def test_iris_and_zoom_rings_are_mapped_beside_focus() -> None:
    """Readings of the other rings make maps of their own, and leave the focus map alone."""
    stops, focals = [2.0, 2.8, 4.0, 5.6, 8.0, 11.0], [24.0, 35.0, 50.0, 70.0]
    job = a_job(
        [a_lens(kind="zoom", focal_mm=70.0, focal_min_mm=24.0)],
        [
            *read_off(),
            *ring_read("iris", stops, [10.0 * i for i in range(6)]),
            *ring_read("zoom", focals, [0, 30, 60, 88]),
        ],
    )
    entry = _only(job)
    assert set(entry.axes) == {"focus", "iris", "zoom"}
    iris, zoom = entry.axes["iris"].lens_map, entry.axes["zoom"].lens_map
    assert iris is not None
    assert zoom is not None
    assert float(iris.position(4.0)[0][0]) == pytest.approx(20.0, abs=0.3)
    assert float(zoom.value(zoom.position(42.0)[0])[0]) == pytest.approx(42.0)
    shown = maps_as_json(prepare(job))["lenses"]["L1"]["axes"]
    assert shown["iris"]["grid"][0]["t_number"] == 2.0
    assert shown["zoom"]["grid"][-1]["focal_mm"] == 70.0


def test_zoom_depth_is_that_of_its_long_end() -> None:
    """A zoom's depth is worked out at its long end, where it is least, and says so."""
    entry = _only(a_job([a_lens(kind="zoom", focal_mm=70.0, focal_min_mm=24.0)]))
    prime = _only(a_job([a_lens(focal_mm=70.0)]))
    assert [row.near_m for row in entry.depth_rows] == [row.near_m for row in prime.depth_rows]
    assert any("long end, 70 mm" in sentence for sentence in entry.assumptions)


def test_depth_follows_n_and_not_t() -> None:
    """The depth table is that of f-numbers T sqrt(transmission), less the blur floor, with the pupil data."""
    entry = _only(a_job())
    assert entry.pupil is not None
    blur = sharp_blur_m(entry.coc_m, entry.blur_floor_m)
    assert [stop.f_number for stop in entry.depth_stops] == pytest.approx(
        f_number_from_t([stop.t_number for stop in entry.depth_stops], 0.81).tolist()
    )
    for row in entry.depth_rows:
        depth = depth_of_field(row.distance_m, 0.05, [s.f_number for s in entry.depth_stops], blur, entry.pupil)
        assert row.near_m == pytest.approx(depth.near_m.tolist())
        assert row.far_m == pytest.approx(depth.far_m.tolist())


def test_five_stops_from_the_widest() -> None:
    """The depth table has five stops, the widest of the lens first, the shooting stop among them, whole stops else."""
    assert [stop.text for stop in _only(a_job()).depth_stops] == ["T2", "T2.8", "T4", "T5.6", "T8"]
    odd = _only(a_job([a_lens(t_stop=1.5)], shooting_stop="T2.8 1/3"))
    assert odd.depth_stops[0].text == "T1.5"
    assert "T2.8 1/3" in [stop.text for stop in odd.depth_stops]
    assert len(odd.depth_stops) == 5


def test_shooting_stop_is_never_wider_than_the_lens() -> None:
    """A job at T1.4 is reckoned at T2 on a lens that opens to T2."""
    entry = _only(a_job(shooting_stop="T1.4"))
    assert entry.shooting is not None
    assert entry.shooting.text == "T2"


def test_pupil_data_only_count_together() -> None:
    """With one of the two the lens is a thin one, its band is stated, and the assumption is said."""
    for missing in ("pupil_to_sensor_mm", "pupil_magnification"):
        entry = _only(a_job([a_lens("L1", **{missing: None})]))
        assert not entry.pupil_known
        assert entry.depth_uncertainty is not None
        assert min(entry.depth_uncertainty) >= 0.05
        assert any("Pupil data missing" in sentence for sentence in entry.assumptions)
    known = _only(a_job())
    assert known.pupil_known
    assert known.depth_uncertainty == (0.0, 0.0)


def test_transmission_not_measured_widens_the_band() -> None:
    """Without a transmission 85 % is taken, said, and T/N - 1 is added to the uncertainty of the depth."""
    entry = _only(a_job([a_lens(transmission=None)]))
    assert not entry.transmission_known
    assert entry.depth_uncertainty == pytest.approx((1 / math.sqrt(0.85) - 1,) * 2)
    assert any("85 % assumed" in sentence for sentence in entry.assumptions)


def test_strictest_camera_counts() -> None:
    """A lens that may go on two cameras is judged by the smaller blur; one that names its camera by that alone."""
    cameras = (
        Camera(letter="A", sensor_width_mm=36.0, sensor_height_mm=24.0),
        Camera(letter="B", sensor_width_mm=24.89, sensor_height_mm=18.66),
    )
    job = a_job(
        [a_lens("L1"), a_lens("L2", camera="A"), a_lens("L3", camera="A B")],
        [],
        cameras=cameras,
        criterion=Criterion(name="diagonal"),
    )
    prep = prepare(job)
    small, large = (math.hypot(c.sensor_width_mm or 0, c.sensor_height_mm or 0) * 1e-3 / 1500 for c in cameras[::-1])
    assert [entry.coc_m for entry in prep.lenses] == pytest.approx([small, large, small])
    assert [camera.lens_ids for camera in prep.cameras] == [("L1", "L2", "L3"), ("L1", "L3")]


def test_rounds_stay_on_the_scale_in_both_systems() -> None:
    """Round distances run from close focus to infinity, in feet and in metres, each with its position and band."""
    entry = _only(a_job())
    assert entry.focus_map is not None
    assert {row.system for row in entry.rounds} == {"metric", "imperial"}
    for row in entry.rounds:
        assert row.value >= NEAREST_M * (1 - 1e-9)
        position, half = entry.focus_map.position_band(row.value)
        assert row.position == pytest.approx(float(position[0]))
        assert row.plus_minus == pytest.approx(float(half[0]))
    for system in ("metric", "imperial"):
        values = [row.value for row in entry.rounds if row.system == system]
        assert values == sorted(values)
        assert values[-1] == math.inf


def test_taped_marks_make_the_map_less_sure_close_up() -> None:
    """The same readings, taped: the tape's own error counts."""
    engraved, taped = (_only(a_job(readings=read_off(method=m))).focus_map for m in ("engraved", "taped"))
    assert engraved is not None
    assert taped is not None
    assert taped.position_band(0.65)[1][0] > engraved.position_band(0.65)[1][0]


def test_width_in_the_budget_is_the_depth() -> None:
    """The budget's half-width is N c/(f^2 (1 + m/P)) with the blur floor taken off."""
    entry = _only(a_job())
    view = entry.budget("shooting")
    assert view is not None
    assert entry.pupil is not None
    state = depth_of_field(view.budget.distance_m, 0.05, view.stop.f_number, 1e-5, entry.pupil).state
    blur = sharp_blur_m(entry.coc_m, entry.blur_floor_m)
    np.testing.assert_allclose(
        view.budget.half_width_dpt, half_width_dpt(view.stop.f_number, 0.05, blur, state.pupil_factor)
    )


def test_json_is_strict() -> None:
    """What goes out as JSON has no NaN and no infinity in it, for a good lens, a bare one and one without depth."""
    for job in (a_job(), a_job(readings=[]), a_job([a_lens(blur_floor_mm=0.5)]), a_job(readings=read_off((1.0,)))):
        json.dumps(prep_as_json(prepare(job)), allow_nan=False)
        json.dumps(maps_as_json(prepare(job)), allow_nan=False)


@settings(max_examples=25)
@given(jobs())
def test_any_job_a_folder_can_hold_is_prepared(job: Job) -> None:
    """Whatever a folder can hold is prepared without an error or a warning, and goes out as strict JSON."""
    prep = prepare(job)
    assert len(prep.lenses) == len(job.lenses)
    json.dumps(prep_as_json(prep), allow_nan=False)
    json.dumps(maps_as_json(prep), allow_nan=False)


@st.composite
def wild_lenses(draw: st.DrawFn) -> Job:
    """One lens with many marks that make no sense: any distances, any positions, any data."""
    marks = draw(
        st.lists(
            st.tuples(
                st.sampled_from([1e-3, 0.02, 0.5, 0.500001, 1.0, 7.0, 1e6, math.inf]) | st.floats(1e-3, 1e6),
                st.sampled_from([0.0, 1.0, -1e9, 1e9, 1e-9]) | st.floats(-1e9, 1e9),
                st.sampled_from([*BOTH, None]),
                st.sampled_from(["engraved", "taped"]),
            ),
            min_size=4,
            max_size=14,
        )
    )
    maybe = st.none() | st.floats(1e-6, 1e9)
    lens = a_lens(
        focal_mm=draw(st.none() | st.floats(1, 1e4)),
        t_stop=draw(st.none() | st.floats(0.5, 128)),
        units_per_turn=draw(maybe),
        reading_step=draw(maybe),
        close_focus_m=draw(st.none() | st.floats(1e-3, 1e6)),
        pupil_to_sensor_mm=draw(st.none() | st.floats(-1e9, 1e9)),
        pupil_magnification=draw(maybe),
        blur_floor_mm=draw(st.none() | st.floats(1e-6, 1)),
        unit=draw(st.sampled_from(["deg", "count", "percent", "mm"])),
    )
    template = read_off((1.0,), ways=BOTH[:1])[0]
    readings = [
        template.model_copy(update={"value": v, "position": p, "approach": way, "method": method})
        for v, p, way, method in marks
    ]
    return a_job([lens], readings)


@settings(max_examples=100)
@given(wild_lenses())
def test_marks_that_make_no_sense_are_prepared(job: Job) -> None:
    """Any marks at all make a map, a refusal or a finding, never an error, a warning or NaN in what goes out."""
    prep = prepare(job)
    json.dumps(prep_as_json(prep), allow_nan=False)
    json.dumps(maps_as_json(prep), allow_nan=False)
    for finding in prep.findings:
        assert not re.search(r"\bnan", finding.message, re.IGNORECASE)
