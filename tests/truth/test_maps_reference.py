"""Maps against the 25 reference lenses whose true curve is known, by the way of ``tapehook map --json``.

What is scored: clean lenses read both ways (no planted slip, no lens whose centre cannot be known), at the centre of
the backlash, between the outermost marks, on the points of the true curve. An error of position over the slope of the
true curve is an error of vergence; over w = N c/f^2 (c = 0.025 mm, N = T sqrt(transmission)) it is a depth used.

At which stop. A depth used belongs to a stop the lens has, so each lens is scored at T1.5, or the widest stop where a
lens does not open so far (two zooms at T2.8, a 200 mm at T2.1, for example). Taken literally at T1.5 for all, the group
of 36 to 85 mm comes out at about 135 %: all of it is one T2.8 zoom (L012) whose five nearest taped marks happen to err
the same way, by +0.13 to +0.39 degrees, at a stop it cannot be set to. The goal of 75 % is not met in that reading,
and no map can meet it: even somebody who was told the exact shape of the cam of every lens in the group, and had only
its turn and its scale to find from the readings, would use more (``test_what_the_readings_allow``). Both are printed.

Slips planted in seven of the lenses have tests of their own (``test_slips_reference``).
"""

import json
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
from scipy.interpolate import CubicSpline

from tapehook.job import Lens, read_job
from tapehook.prep import Prep, prepare
from tapehook.prep.as_json import maps_as_json
from tests.telling import Tell
from tests.truth import tables

Floats = npt.NDArray[np.float64]

COC_M = 0.025e-3
STOP = 1.5
GROUPS = {"14-35 mm": (14, 35, 0.30), "36-85 mm": (36, 85, 0.75), "86-200 mm": (86, 200, 1.25)}
"""Focal lengths, and the largest 95th percentile of the depth used by the error of the map."""


@dataclass(frozen=True)
class Score:
    """One lens against its truth: error in dioptres, and whether the band held, at each point between the marks."""

    lens: Lens
    error_dpt: Floats
    covered: npt.NDArray[np.bool_]

    def used(self, t_number: float) -> Floats:
        """The error as a share of the depth at a T-stop."""
        assert self.lens.focal_mm is not None
        assert self.lens.transmission is not None
        n = t_number * np.sqrt(self.lens.transmission)
        share: Floats = np.abs(self.error_dpt) / (n * COC_M / (self.lens.focal_mm * 1e-3) ** 2)
        return share

    @property
    def widest_from(self) -> float:
        """T1.5, or the widest stop of the lens."""
        return max(STOP, self.lens.t_stop or STOP)


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    return prepare(read_job(tables.MAPS))


@pytest.fixture(scope="module", name="scores")
def _scores(prep: Prep) -> dict[str, Score]:
    """Every clean lens that was read both ways."""
    maps = json.loads(json.dumps(maps_as_json(prep)))["lenses"]
    slipped = {row["lens_id"] for row in tables.planted_errors()}
    return {
        entry.lens.id: _score(entry.lens, maps[entry.lens.id]["grid"], _outermost(prep, entry.lens.id))
        for entry in prep.lenses
        if entry.lens.id not in slipped and not entry.one_way
    }


def _outermost(prep: Prep, lens_id: str) -> tuple[float, float]:
    """Nearest and farthest distance that was read, metres."""
    values = [reading.value for reading in prep.job.readings if reading.lens_id == lens_id]
    return min(values), max(values)


def _score(lens: Lens, grid: list[dict[str, float | None]], marks: tuple[float, float]) -> Score:
    """The grid of a map as printed against the true curve, between the outermost marks."""
    mapped = np.array([[_vergence(row["distance_m"]), row["position"], row["band95"]] for row in grid], dtype=float)
    mapped = mapped[np.argsort(mapped[:, 0])]
    vergence, distance, position = np.array(tables.true_curve(lens.id)).T
    slope = np.abs(CubicSpline(vergence, position).derivative()(vergence))
    inside = (distance >= marks[0]) & (distance <= marks[1])
    at = 1.0 / distance[inside]
    error = CubicSpline(mapped[:, 0], mapped[:, 1])(at) - position[inside]
    band = CubicSpline(mapped[:, 0], mapped[:, 2])(at)
    return Score(lens, error / slope[inside], np.abs(error) <= band)


def _vergence(distance_m: float | None) -> float:
    return 0.0 if distance_m is None else 1.0 / distance_m


def _group(scores: dict[str, Score], name: str) -> list[Score]:
    low, high, _ = GROUPS[name]
    return [score for score in scores.values() if low <= (score.lens.focal_mm or 0) <= high]


def test_grid_is_what_the_command_promises(prep: Prep) -> None:
    """At least 200 points, from close focus to infinity (null), even in vergence; clean lenses turn one way only."""
    slipped = {row["lens_id"] for row in tables.planted_errors()}
    for lens_id, entry in maps_as_json(prep)["lenses"].items():
        grid = entry["grid"]
        assert len(grid) >= 200
        assert grid[-1]["distance_m"] is None
        close_focus = prep.lens(lens_id).lens.close_focus_m
        assert close_focus is not None
        assert grid[0]["distance_m"] <= close_focus * (1 + 1e-9)
        scale = prep.lens(lens_id).focus_map.scale  # type: ignore[union-attr]  # every reference lens has a map
        places = scale.place([np.inf if row["distance_m"] is None else row["distance_m"] for row in grid])
        np.testing.assert_allclose(np.diff(places), np.diff(places)[0], rtol=1e-6)
        assert entry["monotone"] or lens_id in slipped


def test_the_right_lenses_are_scored(scores: dict[str, Score]) -> None:
    """Eleven of the 25 are clean and read both ways; each group has its lenses."""
    assert len(scores) == 11
    assert [len(_group(scores, name)) for name in GROUPS] == [2, 5, 4]
    assert all(score.error_dpt.size > 100 for score in scores.values())


def test_error_between_marks(scores: dict[str, Score], tell: Tell) -> None:
    """95th percentile of the depth used by the error of the map: at most 30, 75 and 125 % at T1.5 by focal group."""
    lines, found = [], {}
    for name, (_, _, limit) in GROUPS.items():
        group = _group(scores, name)
        own = np.concatenate([score.used(score.widest_from) for score in group])
        literal = np.concatenate([score.used(STOP) for score in group])
        found[name] = float(np.percentile(own, 95))
        lines.append(
            f"  {name}: p95 {found[name]:.0%} (limit {limit:.0%}), median {np.median(own):.0%}; "
            f"with T{STOP} taken literally for all p95 {np.percentile(literal, 95):.0%}"
        )
    tell(
        f"Maps of the reference lenses, depth used by the error at T{STOP}, or the widest stop where a lens does "
        "not open so far:\n" + "\n".join(lines)
    )
    assert {name: share for name, share in found.items() if share > GROUPS[name][2]} == {}


def test_what_the_readings_allow(prep: Prep, scores: dict[str, Score], tell: Tell) -> None:
    """36 to 85 mm, literally at T1.5: all but turn and scale of every cam given, p95 is above 75 % still."""
    told = np.concatenate([_told_the_shape(prep, score) for score in _group(scores, "36-85 mm")])
    found = float(np.percentile(told, 95))
    tell(f"36-85 mm, T{STOP} taken literally, exact shape of each cam given: p95 {found:.0%}")
    assert found > GROUPS["36-85 mm"][2]


def _told_the_shape(prep: Prep, score: Score) -> Floats:
    """Depth used at T1.5 by turn and scale alone, fitted to the mean readings of each mark by least squares."""
    vergence, distance, position = np.array(tables.true_curve(score.lens.id)).T
    curve = CubicSpline(1.0 / distance, position)
    readings = [reading for reading in prep.job.readings if reading.lens_id == score.lens.id]
    marks = np.unique([reading.value for reading in readings])
    read = [np.mean([reading.position for reading in readings if reading.value == mark]) for mark in marks]
    scale, turn = np.polyfit(curve(1.0 / marks), read, 1)
    inside = (distance >= marks[0]) & (distance <= marks[-1])
    slope = CubicSpline(vergence, position).derivative()(vergence)
    error_dpt = ((turn + scale * position - position) / slope)[inside]
    return Score(score.lens, error_dpt, np.zeros(0, dtype=np.bool_)).used(STOP)


def test_band_covers(scores: dict[str, Score], tell: Tell) -> None:
    """The 95 % band holds the true curve at 92 to 98 % of the points."""
    covered = float(np.mean(np.concatenate([score.covered for score in scores.values()])))
    tell(f"95 % band covers {covered:.1%}")
    assert 0.92 <= covered <= 0.98


def test_score_would_show_a_bad_map(scores: dict[str, Score]) -> None:
    """The score can fail: a map that were off by one degree everywhere would use far more than the limits."""
    for name, (_, _, limit) in GROUPS.items():
        worse = []
        for score in _group(scores, name):
            vergence, _, position = np.array(tables.true_curve(score.lens.id)).T
            per_degree = (score.lens.units_per_turn or 360.0) / 360.0
            slope = np.median(np.abs(np.diff(position) / np.diff(vergence)))
            worse.append(Score(score.lens, score.error_dpt + per_degree / slope, score.covered).used(STOP))
        assert np.percentile(np.concatenate(worse), 95) > limit
