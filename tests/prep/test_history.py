"""One lens at several times: what changed by more than chance, and nothing that did not."""

import math
from collections.abc import Sequence

import pytest

from tapehook.job import Camera, ChartTest, Criterion, Job, Lens, Reading
from tapehook.prep import prepare
from tapehook.prep.history import SessionPrep, changes_of, drift_curves, history_findings

MARKS_M = (0.6, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, math.inf)
FOCAL_M, DATUM_M = 0.05, 0.15


def position_deg(distance_m: float) -> float:
    """Where the ring stands: 270 degrees from infinity to 0.6 m, even in vergence."""
    return 270.0 * (0.6 - DATUM_M) / (distance_m - DATUM_M)


def session(
    title: str,
    *,
    scale: float = 1.0,
    index: float = 0.0,
    play: float = 0.3,
    flange_m: float = 0.0,
    bodies: Sequence[str] = ("A",),
) -> SessionPrep:
    """A session of one 50 mm lens, read both ways without any error but what is asked for.

    A sensor ``flange_m`` too far back moves what the ring reads at best focus by delta/f^2 in vergence (Newton's
    equation: Smith and Atchison, The Eye and Visual Optical Instruments, chapter 3).
    """
    lens = Lens(id="L", model="Harbour 50", serial="4711", focal_mm=50.0, t_stop=1.4, transmission=1.0)
    readings = [
        Reading(lens_id="L", value=d, position=index + scale * position_deg(d) + way * play / 2, approach=approach)
        for d in MARKS_M
        for way, approach in ((-1, "near_to_far"), (1, "far_to_near"))
    ]
    charts = []
    for d in (1.0, 1.5, 2.5, 4.0, 6.0, 9.0):
        at = 1.0 / (1.0 / (d - DATUM_M) - flange_m / FOCAL_M**2) + DATUM_M
        charts.append(ChartTest(lens_id="L", chart_distance_m=d, position=index + scale * position_deg(at), camera="A"))
    job = Job(
        criterion=Criterion(name="fixed", coc_mm=0.025),
        cameras=(Camera(letter="A"),),
        lenses=(lens,),
        readings=tuple(readings),
        charts=tuple(charts),
    )
    prep = prepare(job, brief=True)
    return SessionPrep(title, prep.lens("L"), tuple(bodies))


def codes(*sessions: SessionPrep) -> set[str]:
    """What is found between sessions."""
    return {finding.code for finding in history_findings(changes_of(sessions))}


def test_nothing_changed() -> None:
    """The same lens twice, the motor put on anew: nothing is said, and the index is known."""
    before, after = session("one"), session("two", index=25.0)
    (change,) = changes_of([before, after])
    assert change.copy is not None
    assert change.copy.offset == pytest.approx(25.0, abs=1e-6)
    assert codes(before, after) == set()


def test_a_map_that_drifted() -> None:
    """3 % of scale is told with its figure, stop and distance; ten per cent are another lens's map."""
    before, after = session("one"), session("two", scale=1.03)
    (finding,) = history_findings(changes_of([before, after]))
    assert (finding.code, finding.severity) == ("history.map", "watch")
    assert "Between one and two its map changed by" in finding.message
    assert finding.figure is not None
    assert finding.figure.stop == "T1.4"
    assert codes(before, session("two", scale=1.10)) == {"history.unlike"}


def test_backlash_that_grew() -> None:
    """By 0.9 degrees, named; shrunk again, info only."""
    before, after = session("one"), session("two", play=1.2)
    (finding,) = history_findings(changes_of([before, after]))
    assert finding.code == "history.backlash"
    assert "its backlash grew by 0.90°" in finding.message
    (back,) = history_findings(changes_of([after, before]))
    assert back.severity == "info"
    assert "shrank by 0.90°" in back.message


def test_a_flange_that_moved() -> None:
    """60 um farther back, the figure within its +-; only on one body anything is made of it."""
    before, after = session("one"), session("two", flange_m=60e-6)
    (change,) = changes_of([before, after])
    assert change.flange_m is not None
    assert change.flange_m[0] == pytest.approx(60e-6, abs=change.flange_m[1])
    found = {finding.code: finding for finding in history_findings([change])}
    assert "farther back behind the lens" in found["history.flange"].message
    assert "lens technician" in found["history.flange"].next_step
    other = session("two", flange_m=60e-6, bodies=("A", "B"))
    (doubtful,) = [one for one in history_findings(changes_of([before, other])) if one.code == "history.flange"]
    assert doubtful.severity == "info"
    assert "not tested on one and the same body" in doubtful.message
    nearer = [one for one in history_findings(changes_of([after, before])) if one.code == "history.flange"]
    assert "nearer behind the lens" in nearer[0].message


def test_three_sessions_are_compared_from_first_to_last_too() -> None:
    """A drift too slow to be told from one to the next may be told from end to end."""
    sessions = [session("one"), session("two", scale=1.01), session("three", scale=1.02)]
    changes = changes_of(sessions)
    assert [(one.before.title, one.after.title) for one in changes] == [
        ("one", "two"), ("two", "three"), ("one", "three"),
    ]  # fmt: skip


def test_curves_of_the_drift() -> None:
    """One for each session but the newest: nought where nothing changed, at the stop the shares hold for."""
    curves = drift_curves([session("one"), session("two", scale=1.02), session("three")])
    assert [curve.title for curve in curves] == ["one", "two"]
    assert abs(curves[0].share).max() < 1e-6
    assert abs(curves[1].share).max() > 0.1
    assert {curve.stop.text for curve in curves} == {"T1.4"}
