"""``tapehook stop-pull`` on the demo job: the documented shape, the light in a simulation, what works, and refusals."""

import math
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from tapehook.job import read_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema
from tests.shot.stop_pulls import Floats, exposure_drift, pair_stops

DEMO = ROOT / "src" / "tapehook" / "demo_job"
PULL = """
[stop_pull]
lens = "L05"
filter = "{filter}"
iris_speed_deg_s = 200
extra_speed_deg_s = 120
extra_backlash_deg = 0.2
lag_between_ms = 40
course = [{{ at_s = 0, stop = "{first}" }}, {{ at_s = {seconds}, stop = "{last}" }}]
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A copy of the demo job."""
    return Path(shutil.copytree(DEMO, tmp_path / "job"))


def plan(job: Path, first: str, last: str, seconds: float = 6.0, on_hand: str = "pair") -> None:
    """Write the shot "x" into the job."""
    text = PULL.format(filter=on_hand, first=first, last=last, seconds=seconds)
    (job / "shots" / "x.toml").write_text(text, encoding="utf-8")


def stop_pull(job: Path, shot: str = "x") -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("stop-pull", job, "--shot", shot)
    assert list(misfits(answer, schema("stop-pull"))) == []
    return answer


def stops_of_demo_iris(degrees: Floats) -> Floats:
    """Stops for ring degrees of L05, by a monotone curve of its readings that is not the program's."""
    rows = sorted(
        (one.position, 2 * math.log2(one.value))
        for one in read_job(DEMO).readings
        if (one.lens_id, one.axis) == ("L05", "iris")
    )
    labels = [stop for _, stop in rows]
    # Whole stops stand for their exact values, which rounding hides: T5.6 is T5.657. The widest is no whole stop.
    exact = [labels[0], *np.round(labels[1:])]
    curve: Floats = PchipInterpolator([position for position, _ in rows], exact)(degrees)
    return curve


def columns(answer: dict[str, Any], *names: str) -> list[Floats]:
    """Columns of the samples."""
    return [np.array([sample[name] for sample in answer["samples"]]) for name in names]


def test_the_demo_pull_holds_the_exposure(job: Path) -> None:
    """T2 to T8 over 6 s on L05: constant to 0.05 stop in a simulation; with play and lag within the budget."""
    plan(job, "T2", "T8")
    answer = stop_pull(job)
    times, iris, extra, told = columns(answer, "time_s", "iris_position", "extra_motor_deg", "exposure_error_stops")
    assert (answer["feasible"], times[0], times[-1], times.size) == (True, 0.0, 6.0, 145)
    light = stops_of_demo_iris, pair_stops(0.32, 0.00005)
    _, perfect = exposure_drift(times, iris, extra, *light)
    assert np.ptp(perfect) <= 0.05
    wanted = -(6.0 + answer["loss_stops"])
    for iris_late, extra_late in ((0.04, 0.0), (0.0, 0.04)):
        ticks, drift = exposure_drift(
            times, iris, extra, *light, iris_play=0.4, extra_play=0.2, iris_lag_s=iris_late, extra_lag_s=extra_late
        )
        assert np.all(np.abs(drift - wanted) <= np.interp(ticks, times, told))
    assert answer["max_exposure_error_stops"] == pytest.approx(float(told.max()))


def test_the_demo_shot_as_its_motors_lag(job: Path) -> None:
    """The demo's own stop pull, iris 21 and extra motor 45 ms late, with play on both: within what is told throughout,
    and of the known lag only its doubt, 10 ms at 1 stop a second, is left in the error."""
    answer = stop_pull(job, "window")
    times, iris, extra, told = columns(answer, "time_s", "iris_position", "extra_motor_deg", "exposure_error_stops")
    light = stops_of_demo_iris, pair_stops(0.32, 0.00005)
    ticks, drift = exposure_drift(
        times, iris, extra, *light, iris_play=0.4, extra_play=0.2, iris_lag_s=0.021, extra_lag_s=0.045
    )
    wanted = -(6.0 + answer["loss_stops"])
    assert np.all(np.abs(drift - wanted) <= np.interp(ticks, times, told))
    lag = next(error for error in answer["error_budget"] if error["name"] == "lag between motors")
    assert lag["largest_stops"] == pytest.approx(0.010, abs=0.002)


def test_percent_density_and_angle_agree(job: Path) -> None:
    """The three say the same: density by the two constants of the pair, percent by the quarter turn; the filter
    falls, and its motor is told half its play ahead, as far as there is room."""
    plan(job, "T2", "T8")
    density, angle, percent = columns(stop_pull(job), "density", "extra_motor_deg", "extra_motor_percent")
    assert density == pytest.approx(pair_stops(0.32, 0.00005)(angle + 0.1) * math.log10(2), abs=1e-5)
    assert percent == pytest.approx(angle / 0.9)


def test_more_than_the_filter_has_is_refused_with_what_works(job: Path) -> None:
    """Seven stops of a wedge that has five: no positions to drive, the largest change named, and that one works."""
    plan(job, "T2", "T22", on_hand="wedge")
    answer = stop_pull(job)
    assert (answer["feasible"], answer["samples"]) == (False, [])
    assert 2 * math.log2(answer["largest_stop"] / 2) == pytest.approx(5.06, abs=0.05)
    assert answer["slowed_to_s"] is None
    assert "The largest change that works" in run("stop-pull", job, "--shot", "x").stdout
    plan(job, "T2", f"T{answer['largest_stop'] - 0.005:.3f}", on_hand="wedge")
    assert stop_pull(job)["feasible"]


def test_too_fast_is_told_with_the_length_that_works(job: Path) -> None:
    """Four stops in a fifth of a second; slowed as told they work."""
    plan(job, "T2", "T8", seconds=0.2)
    answer = stop_pull(job)
    assert not answer["feasible"]
    plan(job, "T2", "T8", seconds=answer["slowed_to_s"] * 1.01)
    assert stop_pull(job)["feasible"]


def test_people_get_a_card(job: Path) -> None:
    """The shot of the demo: verdict, thirteen moments, limits, errors, cautions and what was assumed."""
    shown = run("stop-pull", job, "--shot", "window", width=120).stdout
    assert shown.startswith("L05 with pair: T2 to T8 over 6 s\nworks;")
    assert shown.count(" s  ") >= 13
    for word in (
        "leave the outer one still",
        "test on the day",
        "iris backlash",
        "assumed: The iris was not read both",
    ):
        assert word in shown
    assert [motor["letter"] for motor in stop_pull(job, "window")["motors"]] == ["F", "I", "Z", "X"]


def test_motors_that_are_missing_are_told(job: Path) -> None:
    """Without the extra motor in the job, the pull says so."""
    text = (job / "job.toml").read_text(encoding="utf-8").replace('axis = "extra"', 'axis = "focus"')
    (job / "job.toml").write_text(text, encoding="utf-8")
    plan(job, "T2", "T8")
    said = " ".join(stop_pull(job)["conflicts"])
    assert "lists no extra motor" in said
    assert "M1 and M7 both drive focus on camera A" in said


def test_conflicts_with_the_rest_of_the_shot_are_told(job: Path) -> None:
    """A pull on another lens than its shot, after whose end it goes on, and while the zoom moves: each is told."""
    path = job / "shots" / "supper.toml"
    text = path.read_text(encoding="utf-8").replace("[[people]]", "focal_path = [{ at_s = 0, focal_mm = 35 }, "
                                                    "{ at_s = 9, focal_mm = 40 }]\n[[people]]", 1)  # fmt: skip
    path.write_text(text + PULL.format(filter="pair", first="T2", last="T8", seconds=12), encoding="utf-8")
    said = " ".join(stop_pull(job, "supper")["conflicts"])
    for words in (
        "planned on L06, the stop pull on L05",
        "ends at 12 s, after the shot",
        "The zoom moves over 35 to 40 mm",
    ):
        assert words in said, said


@pytest.mark.parametrize(
    "old, new, words",
    [
        ('lens = "L05"', 'lens = "L06"', ["stop_pull.lens", "a lens with a map of its iris (no readings)"]),
        ('lens = "L05"', 'lens = "L99"', ["the id of a lens of lenses.csv"]),
        ('filter = "pair"', 'filter = "ND 0.3"', ["a filter of kind pair or variable", "pair, wedge"]),
    ],
)
def test_what_is_not_there_is_refused(job: Path, old: str, new: str, words: list[str]) -> None:
    """A lens without an iris map, an unknown lens, a filter that does not turn."""
    plan(job, "T2", "T8")
    file = job / "shots" / "x.toml"
    file.write_text(file.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    said = " ".join(refused("stop-pull", job, "--shot", "x"))
    assert all(word in said for word in words), said


def test_the_shot_must_be_named(job: Path) -> None:
    """Without --shot, or with one that is not there, nothing is worked out."""
    assert "--shot" in refused("stop-pull", job)[0]
    assert "window" in refused("stop-pull", job, "--shot", "door")[0]
