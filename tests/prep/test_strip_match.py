"""Ready-marked strips on prepared lenses: the strip a lens was made from is found, with its turn, through its map."""

import math

import numpy as np
import pytest

from tapehook.job import Reading
from tapehook.job.ready_strips import ReadyStrip
from tapehook.optics import depth_of_field, sharp_blur_m
from tapehook.prep import prepare
from tapehook.prep.strip_match import SERVES, match_strips
from tests.prep.jobs import a_lens, read_off
from tests.simulator.paper import a_job

DISTANCES_M = (0.6, 0.7, 0.8, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, math.inf)
SHAPES = {"S0": 0.0, "S1": 0.08, "S2": 0.16, "S3": 0.24, "S4": -0.1}
"""How far each made-up strip bends from a scale that is even in vergence."""
LENSES = 100


def _turn(shape: float, distance_m: float) -> float:
    place = 0.45 / (distance_m - 0.15)
    return 250.0 * (place + shape * place * (1.0 - place))


STRIPS = tuple(
    ReadyStrip(id=name, distance_m=DISTANCES_M, position_deg=tuple(_turn(shape, d) for d in DISTANCES_M))
    for name, shape in SHAPES.items()
)


def test_right_strip_and_turn_in_99_of_100() -> None:
    """100 lenses made from a strip, turned anywhere, read with noise of 0.15 deg: strip and turn come back."""
    rng = np.random.default_rng(4)
    lenses, readings, truth = [], [], {}
    for number in range(LENSES):
        lens_id, name, turn = f"M{number:03d}", str(rng.choice(list(SHAPES))), float(rng.uniform(-90, 360))
        truth[lens_id] = (name, turn)
        lenses.append(a_lens(lens_id))
        readings += [
            Reading(
                lens_id=lens_id,
                value=distance,
                position=_turn(SHAPES[name], distance) + turn + rng.normal(0.0, 0.15),
                approach=way,
            )
            for distance in DISTANCES_M
            for way in ("near_to_far", "far_to_near")
        ]
    kit = match_strips(prepare(a_job(lenses, readings), brief=True).lenses, STRIPS)
    right = 0
    for lens in kit.lenses:
        name, turn = truth[lens.lens_id]
        assert lens.best is not None
        right += lens.best.strip_id == name and abs(lens.best.turn.turn_deg - turn) <= 0.5
    assert right >= 99


def test_errors_are_shares_of_the_room() -> None:
    """A strip with one mark off by a known turn: that share, at the stop, is what the map's own room says it is."""
    (entry,) = prepare(a_job([a_lens()], read_off(noise_deg=0.0, play_deg=0.0), shooting_stop="T4"), brief=True).lenses
    lens_map = entry.focus_map
    assert lens_map is not None
    marks = (0.6, 0.85, 1.3, 2.5, 8.0, math.inf)
    places = lens_map.curve(marks)
    places[2] += 3.0
    strip = ReadyStrip(id="X", distance_m=marks, position_deg=tuple(places.tolist()))
    (found,) = match_strips([entry], [strip]).lenses
    fit = found.best
    assert fit is not None
    assert fit.depth_used is not None
    assert found.stop is not None
    assert found.stop.text == "T4"
    assert fit.turn.error_deg[2] == pytest.approx(3.0, abs=0.4)
    # The room by another route: half the turn from the near to the far limit of the depth of field at 1.3 m.
    pupil = entry.pupil
    assert pupil is not None
    depth = depth_of_field(1.3, 0.05, found.stop.f_number, sharp_blur_m(0.025e-3, 0.005e-3), pupil)
    near, far = lens_map.curve([float(depth.near_m), float(depth.far_m)])
    assert fit.depth_used[2] == pytest.approx(abs(fit.turn.error_deg[2]) / (abs(near - far) / 2.0), rel=0.03)
    assert fit.depth_used[2] > SERVES
    assert fit.trusted_m() == (2.5, math.inf)


def test_lenses_without_a_map_or_a_turn_are_told_apart() -> None:
    """No readings; counts of unknown turn; a strip nearer than the lens focuses: each says why, and none is served."""
    lenses = [a_lens("N"), a_lens("C", unit="count", units_per_turn=None), a_lens("F")]
    readings = [*read_off(lens_id="C", units_per_deg=100.0), *read_off(lens_id="F")]
    near = ReadyStrip(id="near", distance_m=(0.2, 0.3, 0.4), position_deg=(200.0, 100.0, 50.0))
    kit = match_strips(prepare(a_job(lenses, readings), brief=True).lenses, [near])
    said = {lens.lens_id: lens.refusal for lens in kit.lenses}
    assert said["N"] == "there is no focus map"
    assert "units_per_turn" in (said["C"] or "")
    assert said["F"] == "no strip has three marks within its range"
    assert (kit.pins, kit.served) == ((), ())


def test_a_strip_held_the_other_way_still_fits() -> None:
    """Read-outs count either way: a strip whose figures rise toward far fits a lens whose read-out does, and back."""
    (entry,) = prepare(a_job([a_lens()], read_off(turn_deg=-250.0)), brief=True).lenses
    (found,) = match_strips([entry], STRIPS).lenses
    assert found.best is not None
    assert found.best.worst is not None
    assert found.best.strip_id in {"S2", "S3"}  # the ring of these tests bends by 0.2
    assert found.best.turn.turn_deg == pytest.approx(0.0, abs=3.0)
