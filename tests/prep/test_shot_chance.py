"""The chance that a beat is sharp, against 100,000 pulls drawn at random and judged by the blur on the sensor."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tapehook.job import read_job
from tapehook.job.shots import read_shot
from tapehook.lens.taping import taping_sd_m
from tapehook.optics import blur_diameter_m
from tapehook.prep import prepare
from tapehook.prep.results import SensorShift
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
    "roof": [("Edda", 0.0)],
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


@pytest.mark.parametrize("gap_used", [0.3, -0.3, 0.6, -0.6, 1.1])
def test_both_directions_of_an_anamorphic_lens_must_be_sharp(gap_used: float) -> None:
    """The anamorphic of the demo on its own map: level lines drawn with all that is off, upright ones the gap farther.

    Against 100,000 draws, of which those count whose blur is within w for the one and S w for the other.
    """
    job = read_job(DEMO)
    only = job.model_copy(update={"lenses": tuple(lens for lens in job.lenses if lens.id == "L23")})
    shot = read_shot(DEMO, "window").model_copy(update={"lens": "L23", "stop": None})
    prep = prepare(only, brief=True)
    (entry,) = prep.lenses
    squeeze, optics = entry.lens.squeeze, optics_of(entry)
    assert squeeze is not None
    assert optics is not None
    stop = entry.shooting or entry.widest
    assert stop is not None
    shift_m = -gap_used * stop.f_number * optics.blur_m
    entry = replace(entry, shifts=(SensorShift("two directions", shift_m),))
    plan = plan_shot(replace(prep, lenses=(entry,)), shot)
    terms = terms_of(plan, plan.shot.people[0], plan.people[0])
    rng = np.random.default_rng(11)
    for frame in (0, plan.time_s.size // 2):
        known = sum(float(part[frame]) for part in terms.known.values())
        sd = math.sqrt(sum(float(part[frame]) ** 2 for part in terms.scatter.values()))
        level = known + rng.choice([-1.0, 1.0], PULLS) * terms.half_play[frame] + rng.normal(0.0, 1.0, PULLS) * sd
        state = plan.ring.state(plan.setting_m)
        factor = float(np.broadcast_to(state.pupil_factor, plan.time_s.shape)[frame])
        gap = gap_used * (1.0 + squeeze) / factor
        sharp = (np.abs(level) <= 1.0) & (np.abs(level - gap) <= squeeze)
        assert terms.chance()[frame] == pytest.approx(float(sharp.mean()), abs=0.01)
