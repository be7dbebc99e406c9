"""The chance that a beat is sharp, against 100,000 pulls drawn at random and judged by the blur on the sensor."""

import math

import numpy as np
import pytest

from tapehook.job import read_job
from tapehook.job.shots import read_shot
from tapehook.lens.taping import taping_sd_m
from tapehook.optics import blur_diameter_m
from tapehook.prep import prepare
from tapehook.prep.room import optics_of
from tapehook.prep.shot_chance import beats_of, terms_of
from tapehook.prep.shots import ShotPlan, plan_shot
from tapehook.prep.usual import USUAL_PLAY_DEG
from tests.cli.running import ROOT

DEMO = ROOT / "src" / "tapehook" / "demo_job"
PULLS = 100_000


SHOTS = {
    "window": [("Ada", 0.0), ("Ivo", 5.2)],
    "supper": [("Noor", 0.0), ("Bas", 3.6), ("Noor", 7.2)],
    "quay": [("Tess", 0.0), ("Joost", 4.4), ("Tess", 4.4)],
}
"""The demo's shots with their beats."""


def _planned(name: str) -> ShotPlan:
    job = read_job(DEMO)
    shot = read_shot(DEMO, name)
    only = job.model_copy(update={"lenses": tuple(lens for lens in job.lenses if lens.id == shot.lens)})
    return plan_shot(prepare(only, brief=True), shot)


@pytest.fixture(scope="module", name="plan")
def _plan() -> ShotPlan:
    return _planned("window")


def _sharp(plan: ShotPlan, person: int, frame: int, seed: int) -> float:
    """Part of the pulls in which the blur of the person stays within what passes."""
    rng = np.random.default_rng(seed)
    entry, optics, lens_map = plan.entry, optics_of(plan.entry), plan.entry.focus_map
    assert optics is not None
    assert lens_map is not None
    drawn, true = plan.shot.people[person], float(plan.people[person].distance_m[frame])
    behind = min(int(np.ceil(plan.lag_s * plan.shot.frames_per_second - 1e-9)), frame)
    position, sd = plan.position[frame - behind], lens_map.position(plan.setting_m[[frame - behind]])[1][0]
    play, step = lens_map.play(), entry.lens.reading_step
    play_deg = play.value if play else USUAL_PLAY_DEG
    assert step is not None
    ring = position + rng.normal(0.0, sd, PULLS) + rng.uniform(-step / 2, step / 2, PULLS)
    ring += rng.choice([-0.5, 0.5], PULLS) * play_deg
    ends = np.sort(lens_map.curve([lens_map.near_value, lens_map.far_value]))
    setting = lens_map.value(np.clip(ring, *ends))
    body = math.hypot(drawn.missed_mark_cm, drawn.lean_cm, drawn.sway_cm) / 100.0
    off = rng.normal(0.0, 1.0, PULLS) * np.hypot(body, taping_sd_m(true))
    blur = blur_diameter_m(true + off, setting, optics.focal_m, plan.stop.f_number, optics.pupil)
    return float(np.mean(blur <= optics.blur_m))


@pytest.mark.parametrize("name", list(SHOTS))
def test_every_beat_is_within_two_points_of_pulls_drawn_at_random(name: str) -> None:
    """At the worst frame of each beat of the demo's shots, and at its middle."""
    plan = _planned(name)
    names = [person.name for person in plan.shot.people]
    beats = beats_of(plan)
    assert [(beat.name, beat.from_s) for beat in beats] == SHOTS[name]
    for seed, beat in enumerate(beats):
        person = names.index(beat.name)
        chance = terms_of(plan, plan.shot.people[person], plan.people[person]).chance()
        for at in (beat.worst_s, (beat.from_s + beat.to_s) / 2):
            frame = int(np.argmin(np.abs(plan.time_s - at)))
            assert chance[frame] == pytest.approx(_sharp(plan, person, frame, seed), abs=0.02)
        assert beat.chance == pytest.approx(float(chance[int(np.argmin(np.abs(plan.time_s - beat.worst_s)))]))


def test_nobody_off_their_mark_is_nearly_certain(plan: ShotPlan) -> None:
    """Without missed mark, lean and sway the chance is that of lens and tape, and the culprit is another."""
    people = [
        person.model_copy(update={"missed_mark_cm": 0.0, "lean_cm": 0.0, "sway_cm": 0.0}) for person in plan.shot.people
    ]
    shot = plan.shot.model_copy(update={"people": people})
    job = read_job(DEMO)
    only = job.model_copy(update={"lenses": tuple(lens for lens in job.lenses if lens.id == shot.lens)})
    still = beats_of(plan_shot(prepare(only, brief=True), shot))
    for before, after in zip(beats_of(plan), still, strict=True):
        assert after.chance > before.chance
        assert (before.culprit, after.culprit != "body") == ("body", True)
