"""``tapehook pull``: plans that hold, plans that do not, and shots that make no sense."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapehook.optics import Pupil, depth_of_field
from tests.cli.jobs import position_deg, write_small_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

PUPIL = Pupil(0.041, 1.15)
F_NUMBER = 2.8 * 0.85**0.5
COC_M = 25e-6


def _person(name: str, *points: tuple[float, float]) -> str:
    """Somebody on the axis of a camera at the origin: at that second, so many metres off."""
    lines = [f'[[people]]\nname = "{name}"']
    lines += [f"[[people.path]]\nat_s = {at}\nplace_m = [0, {off}, 1.5]" for at, off in points]
    return "\n".join(lines) + "\n"


def _hold(start: float, end: float, *who: str) -> str:
    return f"[[hold]]\nfrom_s = {start}\nto_s = {end}\nwho = [{', '.join(repr(x) for x in who)}]\n"


WALK = _person("Ada", (0, 5.0), (3, 1.5), (4, 1.5))


def _folder(tmp_path: Path, text: str) -> Path:
    folder = write_small_job(tmp_path / "job")
    (folder / "shots").mkdir(exist_ok=True)
    (folder / "shots" / "walk.toml").write_text(text, encoding="utf-8")
    return folder


def _pull(tmp_path: Path, head: str, *parts: str, more: tuple[str, ...] = ()) -> dict:  # type: ignore[type-arg]
    shown: dict = run_json("pull", _folder(tmp_path, head + "".join(parts)), "--shot", "walk", *more)  # type: ignore[type-arg]
    assert list(misfits(shown, schema("pull"))) == []
    return shown


HEAD = 'lens = "N50"\nstop = "T2.8"\nlag_ms = 0\n'


def test_a_walk_is_held_and_every_frame_is_sharp(tmp_path: Path) -> None:
    """The line lies in the lane, and by the depth of field itself, not by the lane, Ada is sharp at each frame."""
    shown = _pull(tmp_path, HEAD, WALK)
    assert (shown["feasible"], shown["soft_frames"], shown["stop"], len(shown["samples"])) == (True, 0, "T2.8", 97)
    for row, distance in zip(shown["samples"], shown["people"][0]["distance_m"], strict=True):
        assert row["low"] - 1e-9 <= row["position"] <= row["high"] + 1e-9
        depth = depth_of_field(row["distance_m"], 0.050, F_NUMBER, COC_M, PUPIL)
        assert float(depth.near_m) * (1 - 1e-6) <= distance <= float(depth.far_m) * (1 + 1e-6)
        # The map of the small job is a formula: the ring is where the setting says.
        assert row["position"] == pytest.approx(position_deg("N50", row["distance_m"]), abs=0.05)
    assert shown["people"][0]["distance_m"][0] == pytest.approx(5.0)


def test_slowest_is_slower_and_smoothest_smoother(tmp_path: Path) -> None:
    """The least peak speed is that of --slowest, and no more than that of the smoothest line, which is smoother."""
    smooth, slow = _pull(tmp_path, HEAD, WALK), _pull(tmp_path, HEAD, WALK, more=("--slowest",))
    assert slow["peak_speed"] == pytest.approx(smooth["least_peak_speed"], rel=1e-9)
    assert slow["peak_speed"] <= smooth["peak_speed"] * (1 + 1e-9)
    assert smooth["objective"] <= slow["objective"] * (1 + 1e-9)


def test_within_leaves_room(tmp_path: Path) -> None:
    """Planned within half of the depth, no frame uses more than half."""
    shown = _pull(tmp_path, HEAD + "within = 0.5\n", WALK)
    assert shown["tightest"]["depth_used"] == pytest.approx(0.5, abs=0.02)
    said = {finding["code"]: finding["severity"] for finding in shown["findings"]}
    assert set(said) == {"shot.holds", "shot.chance"}
    assert said["shot.holds"] == "info"
    edge = {finding["code"]: finding["severity"] for finding in _pull(tmp_path, HEAD, WALK)["findings"]}
    assert edge["shot.holds"] == "watch"


def test_a_motor_too_slow_is_told_with_the_way_out(tmp_path: Path) -> None:
    """Soft frames, proven fewest; and at the widest stop that works the same shot is held."""
    head = HEAD + "speed_deg_s = 25\n"
    shown = _pull(tmp_path, head, _person("Ada", (0, 5.0), (3, 1.5)))
    assert (shown["feasible"], shown["soft_frames_proven"]) == (False, True)
    assert shown["soft_frames"] > 0
    assert shown["findings"][0]["code"] == "shot.soft"
    wide = shown["widest_stop"]
    assert wide > 2.8
    closed = head.replace("T2.8", f"T{wide * 1.001:.4f}")
    assert _pull(tmp_path, closed, _person("Ada", (0, 5.0), (3, 1.5)))["feasible"]
    opened = head.replace("T2.8", f"T{wide * 0.99:.4f}")
    assert not _pull(tmp_path, opened, _person("Ada", (0, 5.0), (3, 1.5)))["feasible"]


def test_two_people_too_far_apart_the_first_is_held(tmp_path: Path) -> None:
    """Ada before Ivo: Ivo is given up where both cannot be; the other way round it is Ada."""
    people = _person("Ada", (0, 1.5), (2, 1.5)) + _person("Ivo", (0, 4.0), (2, 4.0))
    for order, given_up in ((("Ada", "Ivo"), "Ivo"), (("Ivo", "Ada"), "Ada")):
        shown = _pull(tmp_path, HEAD, people, _hold(0, 2, *order))
        counts = {one["name"]: one["given_up_frames"] for one in shown["people"]}
        assert counts == {given_up: 49, ({"Ada", "Ivo"} - {given_up}).pop(): 0}
        assert shown["findings"][0]["code"] == "shot.gives_up"
        assert shown["widest_stop"] is None or shown["widest_stop"] > 10


def test_focus_is_handed_over_between_holds(tmp_path: Path) -> None:
    """Ada, then Ivo: nobody is soft while held, and between the ring is free to turn."""
    people = _person("Ada", (0, 1.5), (4, 1.5)) + _person("Ivo", (0, 4.0))
    shown = _pull(tmp_path, HEAD, people, _hold(0, 1.5, "Ada"), _hold(2.5, 4, "Ivo"))
    assert shown["feasible"]
    free = [row["high"] - row["low"] for row in shown["samples"] if 1.6 < row["time_s"] < 2.4]
    assert min(free) > 200.0


def test_lag_is_allowed_for(tmp_path: Path) -> None:
    """With 100 ms of lag the line is sharp when it comes late: at each frame the setting of three frames ago holds."""
    shown = _pull(tmp_path, HEAD.replace("lag_ms = 0", "lag_ms = 100"), WALK)
    assert shown["feasible"]
    settings_m = [row["distance_m"] for row in shown["samples"]]
    for late, distance in zip(settings_m[:-3], shown["people"][0]["distance_m"][3:], strict=True):
        depth = depth_of_field(late, 0.050, F_NUMBER, COC_M, PUPIL)
        assert float(depth.near_m) * (1 - 1e-6) <= distance <= float(depth.far_m) * (1 + 1e-6)


def test_nearer_than_close_focus_is_a_finding(tmp_path: Path) -> None:
    """Somebody at 0.3 m of a lens that reaches 0.6 m: said, with the frames, and no wrong curve for the rest."""
    shown = _pull(tmp_path, HEAD, _person("Ada", (0, 3.0), (3, 0.3)))
    assert "shot.too_near" in [finding["code"] for finding in shown["findings"]]
    assert not shown["feasible"]
    assert all(np.isfinite(row["position"]) for row in shown["samples"])


def test_teleporting_is_a_finding(tmp_path: Path) -> None:
    """Twenty metres in a tenth of a second: look at the waypoints."""
    shown = _pull(tmp_path, HEAD, _person("Ada", (0, 25.0), (0.1, 3.0), (1, 3.0)))
    assert "shot.pace" in [finding["code"] for finding in shown["findings"]]


@pytest.mark.parametrize(
    "text, words",
    [
        ('lens = "X9"\n' + WALK, ["lens", "X9", "N50"]),
        ('lens = "N50"\nstop = "T1"\n' + WALK, ["stop", "T1", "opens no wider"]),
        ('lens = "N50"\n', ["people"]),
    ],
)
def test_shots_without_a_plan_are_refused(tmp_path: Path, text: str, words: list[str]) -> None:
    """A lens nobody has, a stop it does not open to, nobody in the shot."""
    said = " ".join(refused("pull", _folder(tmp_path, text), "--shot", "walk"))
    assert all(word in said for word in ["shots/walk.toml", *words])


def test_a_pull_made_by_hand_is_judged(tmp_path: Path) -> None:
    """Marks on the settings that Ada needs: held where she stands, soft where an S-curve is not her walk."""
    folder = _folder(tmp_path, HEAD + WALK)
    marks = [(0, 5.0), (3, 1.5), (4, 1.5)]
    table = "time_s,position\n" + "".join(f"{at},{position_deg('N50', off):.3f}\n" for at, off in marks)
    (folder / "by-hand.csv").write_text(table, encoding="utf-8")
    shown = run_json("pull", folder, "--shot", "walk", "--judge", folder / "by-hand.csv")
    assert list(misfits(shown, schema("pull"))) == []
    assert shown["samples"][0]["position"] == pytest.approx(position_deg("N50", 5.0), abs=1e-3)
    # Half way through an S-curve it has gone half the way: the mean of the marks at its ends.
    half = (position_deg("N50", 5.0) + position_deg("N50", 1.5)) / 2
    assert shown["samples"][36]["position"] == pytest.approx(half, abs=1e-3)
    assert shown["soft_frames"] > 0
    assert not shown["feasible"]
    still = _folder(tmp_path, HEAD + _person("Ada", (0, 2.0), (2, 2.0)))
    (still / "by-hand.csv").write_text(f"time_s,position\n1,{position_deg('N50', 2.0):.3f}\n", encoding="utf-8")
    assert run_json("pull", still, "--shot", "walk", "--judge", still / "by-hand.csv")["feasible"]


def test_a_table_of_marks_that_is_wrong_is_refused(tmp_path: Path) -> None:
    """Every cell at once, moments that do not rise, and a file that is not there."""
    folder = _folder(tmp_path, HEAD + WALK)
    file = folder / "by-hand.csv"
    file.write_text("time_s,position\n0,1\nx,2\n3,\n", encoding="utf-8")
    assert len(refused("pull", folder, "--shot", "walk", "--judge", file)) == 2
    file.write_text("time_s,position\n2,1\n2,2\n", encoding="utf-8")
    assert "a moment after 2" in refused("pull", folder, "--shot", "walk", "--judge", file)[0]
    assert "gone.csv" in refused("pull", folder, "--shot", "walk", "--judge", folder / "gone.csv")[0]
    assert "--judge" in refused("pull", folder, "--shot", "walk", "--judge", file, "--slowest")[0]


def test_a_shot_must_be_named(tmp_path: Path) -> None:
    """Without --shot, and with one that is not there, where it says which there are."""
    folder = _folder(tmp_path, HEAD + WALK)
    assert "--shot" in refused("pull", folder)[0]
    assert "walk" in refused("pull", folder, "--shot", "run")[0]


def test_the_table_is_for_people() -> None:
    """The demo's shot: a verdict, a row a moment, feet for a lens engraved in feet, and what is assumed."""
    shown = run("pull", ROOT / "src" / "tapehook" / "demo_job", "--shot", "window", width=140).stdout
    assert "The shot holds at T2.8" in shown
    assert "19'9\"" in shown
    assert "assumed:" in shown


_SECONDS = st.floats(0, 20, allow_nan=False) | st.integers(-3, 30)
_METRES = st.floats(-50, 50, allow_nan=False) | st.sampled_from([0, 1e9, float("nan"), float("inf")])


@given(st.lists(st.tuples(_SECONDS, _METRES, _METRES), min_size=1, max_size=5), st.sampled_from(["", "T2", "T22"]))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_shot_is_a_plan_or_a_refusal(tmp_path: Path, points: list[tuple[float, float, float]], stop: str) -> None:
    """Exit 0 with figures, or 2 with sentences; never anything else."""
    path = "\n".join(f"[[people.path]]\nat_s = {at}\nplace_m = [{x}, {y}, 1.5]" for at, x, y in points)
    head = 'lens = "N50"\n' + (f'stop = "{stop}"\n' if stop else "")
    result = run("pull", _folder(tmp_path, f'{head}[[people]]\nname = "A"\n{path}\n'), "--shot", "walk", "--json")
    assert result.exit_code in (0, 2), result.output
    assert "Traceback" not in result.output
