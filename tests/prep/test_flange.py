"""Chart tests in the main job: whose fault, what is said, what is asked for next, and what bad tests do."""

from typing import Any

import numpy as np
import pytest

from tapehook.finding import Finding
from tapehook.job import Camera, ChartTest, Job, Lens, Reading
from tapehook.prep import Prep, prepare
from tapehook.prep.flange_findings import parfocal
from tapehook.prep.results import LensFlange
from tests.prep.flange_trial import known_pupil
from tests.simulator.lenses import TrueLens, draw_lens
from tests.simulator.paper import BOTH, a_job, chart_tests, engraved_distances, lens_record, read_marks

CAMERAS = [Camera(letter=letter) for letter in "ABC"]
STEADY: dict[str, Any] = {"noise_deg": 0.05, "engraving_deg": 0.02, "rotation_deg": 300.0, "step": 0.1, "unit": "deg"}


def _lens(rng: np.random.Generator, flange_um: float = 0.0, **fixed: object) -> TrueLens:
    known = {**STEADY, "units_per_turn": 360.0, "t_stop": 1.5, "flange_um": flange_um, **fixed}
    return draw_lens(rng, low_mm=24, high_mm=40, **known)


def _job(
    seed: int,
    layout: dict[str, str],
    *,
    lenses_um: dict[str, float] | None = None,
    body_um: dict[str, float] | None = None,
) -> Job:
    """Lenses by id with the letters of the bodies each was tested on; errors in micrometres, all others sound."""
    rng = np.random.default_rng(seed)
    lenses: list[Lens] = []
    readings: list[Reading] = []
    charts: list[ChartTest] = []
    for lens_id, letters in layout.items():
        true = _lens(rng, (lenses_um or {}).get(lens_id, float(rng.normal(0.0, 2.0))))
        lenses.append(lens_record(true, lens_id, camera=" ".join(letters), **known_pupil(true)))
        for _ in range(2):
            readings += read_marks(rng, true, lens_id, engraved_distances(rng, true, 20))
        distances = [round(float(d), 2) for d in true.distance_m(np.array([0.05, 0.12, 0.3, 0.5]) * true.near_dpt)]
        for letter in letters:
            off = (body_um or {}).get(letter, float(rng.normal(0.0, 2.0)))
            charts += chart_tests(
                rng, true, lens_id, distances, camera=letter, body_flange_um=off, repeats=2, judgement_used=0.1
            )
    return a_job(lenses, readings, charts, [c for c in CAMERAS if any(c.letter in x for x in layout.values())])


def _of(prep: Prep, lens_id: str) -> LensFlange:
    found = prep.flanges.lens(lens_id)
    assert found is not None
    return found


def _codes(prep: Prep) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for finding in prep.findings:
        if finding.code.startswith(("flange.", "parfocal.")):
            found.setdefault(finding.code, []).append(finding.lens_id or finding.camera or "")
    return found


def _one(prep: Prep, code: str) -> Finding:
    (found,) = [finding for finding in prep.findings if finding.code == code]
    return found


SIX = {f"L{k}": "AB" for k in range(1, 7)}


@pytest.mark.parametrize("layout", [SIX, dict.fromkeys(SIX, "A")], ids=["two bodies", "one body"])
@pytest.mark.parametrize("off_um", [20.0, -20.0])
def test_a_body_that_is_off_is_pinned_on_the_body(layout: dict[str, str], off_um: float) -> None:
    """20 um of one body among six sound lenses: the body by its right amount, no lens accused, none to be shimmed."""
    prep = prepare(_job(1, layout, body_um={"A": off_um}))
    body = prep.flanges.bodies[0]
    assert body.letter == "A"
    assert body.off > 0.95
    assert body.flange_m * 1e6 == pytest.approx(off_um, abs=max(2.5 * body.sd_m * 1e6, 4.0))
    assert all(other.off < 0.3 for other in prep.flanges.bodies[1:])
    assert all(one.cause != "flange" for one in prep.flanges.lenses)
    assert all(abs(one.flange_m or 99.0) < 10e-6 for one in prep.flanges.lenses)
    codes = _codes(prep)
    assert codes["flange.body"] == ["A"]
    assert "flange.lens" not in codes
    side = "too far back" if off_um > 0 else "too near"
    assert side in _one(prep, "flange.body").message
    assert "shim no lens" in _one(prep, "flange.body").next_step


@pytest.mark.parametrize("layout", [SIX, dict.fromkeys(SIX, "A")], ids=["two bodies", "one body"])
@pytest.mark.parametrize("off_um", [20.0, -20.0])
def test_a_lens_that_is_off_is_pinned_on_the_lens(layout: dict[str, str], off_um: float) -> None:
    """20 um of one lens of six: that lens by its right amount, nothing else accused, the shim left to others."""
    prep = prepare(_job(2, layout, lenses_um={"L3": off_um}))
    found = _of(prep, "L3")
    assert found.cause == "flange"
    assert found.flange_m is not None
    assert found.sd_m is not None
    assert found.flange_m * 1e6 == pytest.approx(off_um, abs=max(2.5 * found.sd_m * 1e6, 4.0))
    codes = _codes(prep)
    assert codes["flange.lens"] == ["L3"]
    assert "flange.body" not in codes
    assert ("too far back" if off_um > 0 else "too near") in _one(prep, "flange.lens").message
    assert "lens technician's work" in _one(prep, "flange.lens").next_step


@pytest.mark.parametrize(
    "layout, asked",
    [
        ({"L1": "A"}, "Move L1 to another body, or put another lens on camera A"),
        ({"L1": "A", "L2": "B"}, "Move L1 to camera B"),
    ],
)
def test_a_layout_that_cannot_separate_is_refused(layout: dict[str, str], asked: str) -> None:
    """One lens on one body, or each on its own: nobody is accused, and the swap that would tell is named."""
    prep = prepare(_job(3, layout, lenses_um={"L1": 25.0}))
    found = _of(prep, "L1")
    assert (found.cause, found.swap) == ("cannot_tell", True)
    assert found.next_test is not None
    assert found.next_test.startswith(asked)
    codes = _codes(prep)
    assert codes["flange.whose_fault"] == ["L1"]
    assert not {"flange.lens", "flange.body"} & set(codes)
    assert "Shim nothing" in _one(prep, "flange.whose_fault").next_step


def test_the_swap_settles_it() -> None:
    """After the swap that was asked for, the lens is accused: the same job with L1 on both bodies."""
    prep = prepare(_job(3, {"L1": "AB", "L2": "AB"}, lenses_um={"L1": 25.0}))
    assert _of(prep, "L1").cause == "flange"
    assert _of(prep, "L2").cause != "flange"


def test_without_a_body_the_figure_is_of_both() -> None:
    """Nobody wrote down the body: flange of lens and body together, said so, and no body listed."""
    job = _job(4, {"L1": "A"}, lenses_um={"L1": 25.0}, body_um={"A": 0.0})
    job = job.model_copy(update={"charts": tuple(t.model_copy(update={"camera": None}) for t in job.charts)})
    prep = prepare(job)
    found = _of(prep, "L1")
    assert (found.together, found.cause, prep.flanges.bodies) == (True, "flange", ())
    assert "together" in _one(prep, "flange.lens").message
    assert "Nobody wrote down the body" in _one(prep, "flange.lens").next_step


def _single(seed: int, true: TrueLens, quarters: tuple[float, ...] = (0.06, 0.2, 0.4, 0.6, 0.8, 0.95)) -> Job:
    rng = np.random.default_rng(seed)
    readings = [r for _ in range(2) for r in read_marks(rng, true, "L1", engraved_distances(rng, true, 20))]
    distances = [round(float(d), 2) for d in true.distance_m(np.array(quarters) * true.near_dpt)]
    charts = chart_tests(rng, true, "L1", distances, repeats=2, judgement_used=0.1)
    return a_job([lens_record(true, "L1", **known_pupil(true))], readings, charts)


def test_a_scale_is_told_from_a_flange() -> None:
    """A scale 3 % off on a 75 mm, tested from far to near: the scale is named, with its figure, and no shim."""
    rng = np.random.default_rng(8)
    true = draw_lens(
        rng, low_mm=75, high_mm=75, **STEADY, units_per_turn=360.0, t_stop=1.5, near_m=0.9, scale_slope=0.03
    )
    prep = prepare(_single(8, true))
    assert _of(prep, "L1").cause == "scale"
    finding = _one(prep, "flange.scale")
    assert "nearer than the chart" in finding.message
    assert "would not mend" in finding.message


@pytest.mark.parametrize("tape_m, word", [(0.05, "too short"), (-0.05, "too long")])
def test_a_tape_from_the_wrong_place_is_told(tape_m: float, word: str) -> None:
    """A tape that starts 50 mm off on a 35 mm with charts close up: the tape is named, and the lens is cleared."""
    rng = np.random.default_rng(9)
    prep = prepare(_single(9, _lens(rng, focal_m=0.035, near_m=0.35, tape_datum_m=tape_m)))
    assert _of(prep, "L1").cause == "tape_offset"
    assert word in _one(prep, "flange.tape").message
    assert "The lens is not the cause" in _one(prep, "flange.tape").message


def test_one_far_chart_cannot_tell_much_and_asks() -> None:
    """One chart close up on a lens 15 um off: not told, nobody told to shim, and a chart to set up is named."""
    rng = np.random.default_rng(10)
    prep = prepare(_single(10, _lens(rng, 15.0, focal_m=0.035), (0.9,)))
    found = _of(prep, "L1")
    assert found.cause == "cannot_tell"
    assert found.next_test is not None
    assert found.next_test.startswith("Find best focus on a chart taped at")
    assert "Touch nothing" in _one(prep, "flange.cannot_tell").next_step


def test_the_chart_asked_for_narrows_the_answer() -> None:
    """The look-ahead is worth something: with the chart it names the flange is surer than with a repeat close up."""
    rng = np.random.default_rng(10)
    true = _lens(rng, 15.0, focal_m=0.035)
    before = _of(prepare(_single(10, true, (0.9,))), "L1").sd_m
    far = _of(prepare(_single(10, true, (0.9, 0.05))), "L1").sd_m
    near = _of(prepare(_single(10, true, (0.9, 0.88))), "L1").sd_m
    assert before is not None
    assert far is not None
    assert near is not None
    assert far < near <= before * 1.05


def test_a_mistyped_chart_is_named_and_hardly_counts() -> None:
    """One position 12 degrees off among twelve tests: its row is named, and the flange stays where it was."""
    rng = np.random.default_rng(12)
    job = _single(12, _lens(rng, 0.0, focal_m=0.035))
    charts = [test.model_copy(update={"row": number}) for number, test in enumerate(job.charts, start=2)]
    charts[4] = charts[4].model_copy(update={"position": (charts[4].position or 0.0) + 12.0})
    clean, slipped = (prepare(job.model_copy(update={"charts": tuple(c)})) for c in (job.charts, charts))
    assert "(row 6 of the charts)" in _one(slipped, "flange.test_apart").message
    assert _of(slipped, "L1").flange_m == pytest.approx(_of(clean, "L1").flange_m, abs=4e-6)
    assert "flange.test_apart" not in _codes(clean)


@pytest.mark.parametrize(
    "instead, lens, words",
    [
        ({"position": None}, {}, "no ring position"),
        ({}, {"focal_mm": None}, "focal length is not known"),
        ({}, {"t_stop": None}, "no T-stop"),
        ({"chart_distance_m": 0.05}, {}, "nearer than any lens"),
    ],
)
def test_tests_that_say_nothing_say_why(instead: dict[str, object], lens: dict[str, object], words: str) -> None:
    """Charts that cannot be used: one sentence with the reason and what to do, no figure, nothing accused."""
    job = _single(13, _lens(np.random.default_rng(13)))
    charts = tuple(test.model_copy(update={**instead, **({"t_stop": None} if lens else {})}) for test in job.charts)
    job = job.model_copy(update={"charts": charts, "lenses": (job.lenses[0].model_copy(update=lens),)})
    prep = prepare(job)
    found = _of(prep, "L1")
    assert (found.flange_m, found.sd_m, found.cause) == (None, None, "cannot_tell")
    assert words in _one(prep, "flange.unusable").message
    assert found.next_test


def test_without_marks_the_tests_wait_for_a_map() -> None:
    """Charts of a lens with two marks: said to need the map first."""
    job = _single(14, _lens(np.random.default_rng(14)))
    few = tuple(r for r in job.readings if r.mark_no in (1, 2))
    assert _of(prepare(job.model_copy(update={"readings": few})), "L1").cause == "cannot_tell"
    assert "no map" in _one(prepare(job.model_copy(update={"readings": few})), "flange.unusable").message


def test_without_charts_nothing_is_said() -> None:
    """A job without chart tests has no findings of flange and lists no lens."""
    job = _single(15, _lens(np.random.default_rng(15)))
    prep = prepare(job.model_copy(update={"charts": ()}))
    assert (prep.flanges.lenses, prep.flanges.bodies, _codes(prep)) == ((), (), {})


def _zoom(seed: int, back_focus_um: float, groups_used: float) -> Job:
    """A 24-80 mm zoom tested far at three focal lengths: back focus in um, and groups off at the wide end in depths."""
    rng = np.random.default_rng(seed)
    true = draw_lens(rng, **STEADY, units_per_turn=360.0, t_stop=2.8, focal_m=0.080, datum_m=0.16, near_m=0.9)
    record = lens_record(true, "Z", kind="zoom", focal_min_mm=24.0, **known_pupil(true))
    readings = [r for _ in range(2) for r in read_marks(rng, true, "Z", engraved_distances(rng, true, 20))]
    charts = []
    for focal_mm in (80.0, 45.0, 24.0):
        for distance in (2.0, 4.0, 8.0):
            for way in BOTH:
                room = true.half_width_dpt(2.8) * (80.0 / focal_mm) ** 2
                q = float(true.vergence(distance)) - back_focus_um * 1e-6 / (focal_mm * 1e-3) ** 2
                q += (groups_used * room if focal_mm == 24.0 else 0.0) + rng.normal(0.0, 0.1 * room)
                ahead = true.toward_near * (-0.5 if way == "near_to_far" else 0.5) * true.play_deg
                at = float(true.turn_deg(q)) + ahead
                charts.append(
                    ChartTest(
                        lens_id="Z",
                        chart_distance_m=distance,
                        position=round(at, 1),
                        approach=way,
                        t_stop=2.8,
                        focal_mm=focal_mm,
                    )
                )
    return a_job([record], readings, charts)


@pytest.mark.parametrize(
    "back_focus_um, groups_used, told",
    [(30.0, 0.0, "yes"), (-30.0, 0.0, "yes"), (0.0, 0.8, "no"), (0.0, 0.0, "fine")],
)
def test_a_zoom_holds_focus_or_says_why_not(back_focus_um: float, groups_used: float, told: str) -> None:
    """Back focus off by 30 um is named as such, groups that are off are not, and a sound zoom holds focus."""
    prep = prepare(_zoom(16, back_focus_um, groups_used))
    found = parfocal(prep.lenses[0])
    assert found is not None
    assert found.back_focus == told
    if told == "yes":
        # delta (1/f_w^2 - 1/f_l^2) / (N c/f_w^2) = delta/(N c) (1 - (f_w/f_l)^2), the algebra of the formula
        n = 2.8 * np.sqrt(prep.lenses[0].transmission)
        expected = 30e-6 / (n * 25e-6) * (1 - (24 / 80) ** 2)
        assert found.used == pytest.approx(expected, abs=found.plus_minus)
    code = {"yes": "parfocal.back_focus", "no": "parfocal.groups", "fine": "parfocal.fine"}[told]
    assert _codes(prep)[code] == ["Z"]


def test_the_flange_counts_in_the_budget() -> None:
    """A flange that charts can tell is a term of the lens's budget: delta/(N c), the same share at infinity."""
    job = _job(17, {"L1": "A"}, lenses_um={"L1": 25.0}, body_um={"A": 0.0})
    job = job.model_copy(update={"charts": tuple(t.model_copy(update={"camera": None}) for t in job.charts)})
    entry = prepare(job).lenses[0]
    view = entry.budget("widest")
    found = prepare(job).flanges.lens("L1")
    assert view is not None
    assert found is not None
    assert found.flange_m is not None
    at = [term.name for term in view.budget.terms].index("flange")
    expected = found.flange_m / (view.stop.f_number * 25e-6)
    assert view.budget.shares[at][0] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("slope", [0.03, -0.03])
def test_a_scale_that_is_off_counts_in_the_budget(slope: float) -> None:
    """A scale 3 % off takes kappa q f^2/(N c (1 + m/P)) of the depth, most at the near end: within a fifth of that."""
    rng = np.random.default_rng(8)
    true = draw_lens(
        rng, low_mm=75, high_mm=75, **STEADY, units_per_turn=360.0, t_stop=1.5, near_m=0.9, scale_slope=slope
    )
    prep = prepare(_single(8, true))
    assert _of(prep, "L1").cause == "scale"
    view = prep.lenses[0].budget("widest")
    assert view is not None
    at = [term.name for term in view.budget.terms].index("scale")
    planted = abs(slope) * float(true.near_dpt) * true.focal_m**2 / (view.stop.f_number * 25e-6)
    planted /= 1.0 + true.focal_m * float(true.near_dpt) / (prep.lenses[0].lens.pupil_magnification or 1.0)
    nearest = int(np.argmin(view.budget.distance_m))
    assert view.budget.shares[at][nearest] == pytest.approx(planted, rel=0.2)
    assert view.budget.shares[at][0] < 0.25 * view.budget.shares[at][nearest]


def test_what_charts_are_not_sure_of_is_in_no_budget() -> None:
    """One chart close up accuses nobody, and a tape that was off is not the lens."""
    rng = np.random.default_rng(10)
    unsure = prepare(_single(10, _lens(rng, 15.0, focal_m=0.035), (0.9,)))
    rng = np.random.default_rng(9)
    tape = prepare(_single(9, _lens(rng, focal_m=0.035, near_m=0.35, tape_datum_m=0.05)))
    for prep in (unsure, tape):
        assert not {"flange", "scale"} & {term.name for term in prep.lenses[0].budgets[0].budget.terms}


def test_order_of_rows_does_not_matter() -> None:
    """The same tests in another order give the same figures."""
    job = _job(18, {"L1": "AB", "L2": "A"}, lenses_um={"L1": 15.0})
    turned = job.model_copy(update={"charts": tuple(reversed(job.charts))})
    for one, other in zip(prepare(job).flanges.lenses, prepare(turned).flanges.lenses, strict=True):
        assert one.flange_m == pytest.approx(other.flange_m, abs=1e-8)
        assert one.cause == other.cause
