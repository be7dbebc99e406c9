"""A lens behind a port in the main job: what it must focus at, its share, what helps where it cannot, and silence."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tapehook.finding import Finding
from tapehook.job import Job, JobProblems, read_job
from tapehook.optics import thin_pupil
from tapehook.optics.fittings import Fittings
from tapehook.optics.port import Port
from tapehook.prep import prepare
from tapehook.prep.as_json import prep_as_json
from tapehook.prep.port import ROOM_M, Ported, ported_lens, remedy_of
from tests.cli.shapes import misfits, schema
from tests.prep.jobs import NEAREST_M, a_job, a_lens, read_off

DOME: dict[str, Any] = {"port": 150.0, "port_front_mm": 200.0, "water": "fresh"}
"""Thin, in fresh water: infinity at 200 + 150/0.333 = 650 mm, a little farther than the ring of the lens ends."""
SHORT = {**DOME, "port": 60.0}
"""The same at 200 + 60/0.333 = 380 mm, where the ring, which ends at 600 mm, does not come."""


def _job(**lens: Any) -> Job:  # noqa: ANN401 - any field
    return a_job([a_lens(**lens)], read_off(noise_deg=0.02))


def _found(**lens: Any) -> tuple[Ported, Finding]:  # noqa: ANN401 - any field
    prep = prepare(_job(**lens))
    (finding,) = (one for one in prep.findings if one.code.startswith("port."))
    found = ported_lens(prep.lenses[0])
    assert found is not None
    return found, finding


def test_a_flat_port_brings_all_nearer() -> None:
    """1/n of the way before it, infinity where it was; the whole scale counts, and so does its worst share."""
    found, finding = _found(port="flat", port_front_mm=200.0, water="fresh")
    assert finding.code == "port.share"
    assert math.isinf(found.infinity_m)
    assert found.nearest_m == pytest.approx(0.2 + 1.333 * (NEAREST_M - 0.2))
    assert "must focus at 0.8 m for a subject at 1 m in the water" in finding.message  # 0.2 + 0.8/1.333
    assert found.used == prepare(_job()).lenses[0].budgets[-1].budget.worst_own
    assert finding.figure is not None
    assert finding.figure.stop == "T4"
    assert "under water" in finding.next_step


def test_a_dome_shows_infinity_three_radii_off() -> None:
    """R/(n - 1) before a thin dome (D. Knight, Dome port theory); only the scale up to there counts."""
    found, finding = _found(**DOME)
    assert found.infinity_m == pytest.approx(0.2 + 0.15 / 0.333, abs=1e-9)
    assert found.reaches is True
    assert "0.65 m for infinity" in finding.message
    assert found.used is not None
    budget = prepare(_job()).lenses[0].budgets[-1].budget
    assert found.used == budget.own[budget.distance_m <= found.infinity_m].max()


def test_a_ring_that_ends_too_early_focuses_on_nothing() -> None:
    """It must be acted on, with how far infinity is off at close focus, at the stop, and what helps."""
    found, finding = _found(**SHORT)
    assert (finding.code, finding.severity) == ("port.no_reach", "fix")
    assert found.reaches is False
    assert found.nearest_m is None
    assert "0.38 m for infinity" in finding.message
    assert "its ring ends at 0.6 m" in finding.message
    room_dpt = 4.0 * 0.9 * (25e-6**2 - 5e-6**2) ** 0.5 / 0.05**2  # N c/f^2 at T4, before 1 + m/P of a few per cent
    u_infinity, u_close = 0.2 + 0.06 / 0.333 - 0.041, NEAREST_M - 0.041  # from the entrance pupil
    assert finding.figure is not None
    assert finding.figure.stop == "T4"
    assert finding.figure.value / 100.0 == pytest.approx((1 / u_infinity - 1 / u_close) / room_dpt, rel=0.15)
    assert "a dome of " in finding.next_step
    assert "a close-up lens of +" in finding.next_step


@pytest.mark.parametrize("glass_m, water", [(0.0, 1.333), (0.006, 1.339)])
def test_the_radius_offered_is_the_least_that_does(glass_m: float, water: float) -> None:
    """With it infinity comes a centimetre onto the ring; with half a centimetre less it does not."""
    port = Port(0.2, water, 0.06, glass_m)
    remedy = remedy_of(port, NEAREST_M, thin_pupil(0.05))
    assert remedy.radius_m is not None
    at, below = (
        Port(0.2, water, radius, glass_m).infinity_seen_m for radius in (remedy.radius_m, remedy.radius_m - 0.005)
    )
    assert below < NEAREST_M + ROOM_M <= at


def test_the_close_up_lens_offered_brings_infinity_onto_the_ring() -> None:
    """Through the least and the most of them infinity in the water lies on the ring, and outside of them not."""
    port = Port(0.2, 1.333, 0.06)
    remedy = remedy_of(port, NEAREST_M, thin_pupil(0.05))
    assert remedy.powers_dpt is not None
    assert remedy.close_up_m is not None
    least, most = remedy.powers_dpt
    assert least <= most

    def scale_m(power_dpt: float) -> float:
        """What the ring must say for infinity in the water, behind port and close-up lens; below 0 past infinity."""
        fittings = Fittings(np.asarray(0.05), thin_pupil(0.05), power_dpt, remedy.close_up_m or 0.0)
        return float(fittings.seen_m(port.infinity_seen_m))

    assert scale_m(least) >= NEAREST_M + ROOM_M
    assert scale_m(least - 0.25) < NEAREST_M + ROOM_M
    assert scale_m(most) > 0
    past = scale_m(most + 0.25)
    assert past < 0 or math.isinf(past)


def test_what_is_not_known_is_said() -> None:
    """No close focus and no marks: what it must focus at, and what to write down; nothing is made up."""
    prep = prepare(a_job([a_lens(**{**DOME, "close_focus_m": None})], ()))
    (finding,) = (one for one in prep.findings if one.code.startswith("port."))
    assert finding.severity == "info"
    assert "close_focus_m" in finding.next_step
    assert finding.figure is None


def test_assumptions_are_said() -> None:
    """Water and glass that nobody named, on the lens and on the job."""
    prep = prepare(_job(port="flat", port_front_mm=200.0))
    for part in ("Water before the port not said", "taken to be thin", "near the middle"):
        assert any(part in sentence for sentence in prep.lenses[0].assumptions)
    assert not any("port" in sentence for sentence in prepare(_job()).assumptions)


@pytest.mark.parametrize("lens", [DOME, SHORT, {"port": "flat", "port_front_mm": 200.0}, {}])
def test_its_documented_shape(lens: dict[str, Any]) -> None:
    """Domes that reach and do not, a flat port, and null without one."""
    answer = prep_as_json(prepare(_job(**lens)))["lenses"]["L1"]["port"]
    shape = schema("prep")["properties"]["lenses"]["additionalProperties"]["properties"]["port"]
    assert list(misfits(answer, shape)) == []
    assert (answer is None) == (not lens)


@pytest.mark.parametrize(
    "cells, said",
    [
        ("100,,,", 'port: read "100", expected port_front_mm beside it'),
        (",200,,", 'port_front_mm: read "200", expected an empty cell, or a port'),
        (",,6,", 'port_glass_mm: read "6", expected an empty cell, or a port'),
        ("5,200,,", 'port: read "5", expected flat, or the radius of a dome in millimetres such as 100, from 10'),
        ("round,200,,", 'port: read "round", expected flat, or the radius of a dome'),
        ("100,10,,", 'port_front_mm: read "10", expected a number of millimetres such as 180, at least 20'),
        ("50,200,60,", 'port_glass_mm: read "60", expected glass thinner than the radius of the dome, 50 mm'),
        ("flat,200,6,brackish", 'water: read "brackish", expected "fresh" or "sea"'),
    ],
)
def test_half_said_ports_are_refused(tmp_path: Path, cells: str, said: str) -> None:
    """Row, column, what was read and what was expected."""
    (tmp_path / "lenses.csv").write_text(f"id,port,port_front_mm,port_glass_mm,water\nL1,{cells}\n", encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position\n", encoding="utf-8")
    with pytest.raises(JobProblems) as refused:
        read_job(tmp_path)
    assert any(problem.sentence().startswith(f"lenses.csv row 2, {said}") for problem in refused.value.problems)


def test_ports_are_read_as_people_write_them(tmp_path: Path) -> None:
    """Any case, with a unit or without."""
    text = "id,port,port_front_mm,water\nL1,Flat,200 mm,Sea\nL2,10 cm,20cm,\n"
    (tmp_path / "lenses.csv").write_text(text, encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position\n", encoding="utf-8")
    one, two = read_job(tmp_path).lenses
    assert (one.port, one.port_front_mm, one.water) == ("flat", 200.0, "sea")
    assert (two.port, two.port_front_mm, two.water) == (100.0, 200.0, None)


def test_a_port_behind_the_pupil_is_no_port(tmp_path: Path) -> None:
    """Refused where the pupil is typed; where charts told it, a finding, and no figure is worked out."""
    text = "id,pupil_to_sensor_mm,port,port_front_mm\nL1,60,flat,50\n"
    (tmp_path / "lenses.csv").write_text(text, encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position\n", encoding="utf-8")
    with pytest.raises(JobProblems, match="more than 60 mm, where the entrance pupil is"):
        read_job(tmp_path)
    found, finding = _found(port="flat", port_front_mm=30.0)
    assert (finding.code, finding.severity) == ("port.behind_pupil", "fix")
    assert found.reaches is None
    assert found.used is None


def test_glass_thicker_than_a_dome_is_of_no_use() -> None:
    """A dome of 50 mm with 48 mm of glass shows infinity behind the sensor: said as such, with no distance."""
    found, finding = _found(port=50.0, port_front_mm=20.0, port_glass_mm=48.0, pupil_to_sensor_mm=None)
    assert found.infinity_m < 0
    assert (finding.code, finding.severity) == ("port.no_reach", "fix")
    assert "behind the sensor" in finding.message
