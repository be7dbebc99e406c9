"""A strip for the shooting stop, against the ``rms`` rows of the ray-traced lenses (README.md beside it).

Each design is a lens whose ring turns in step with its travel. Marks are made by eye wide open, charts are found wide
open and at the next stop at three distances, three times each; the strip for that stop must put its marks where the
trace has best focus.
"""

import math

import numpy as np
import pytest

from tapehook.job import Camera, ChartTest, Job, Lens, Reading
from tapehook.picture.lettering import text_width
from tapehook.prep import prepare
from tapehook.prep.strips import StripWish, lens_strip
from tapehook.strip import Ring
from tests.truth import tables

COUNTS_PER_MM = 10_000.0
CHARTS_M = (5.0, 10.0, 30.0) * 3
FAR_M = 2.5
"""From here on; nearer, spherical aberration itself changes with distance."""


def _travel(name: str, f_number: float) -> dict[float, float]:
    """Travel of best focus in mm by distance from the sensor, inf among them."""
    rows = [row for row in tables.design(name)["depth_of_field"] if row["f_number"] == f_number]
    return {tables.distance_m(row): float(row["exact"]["rms"]["focus_travel_mm"]) for row in rows}


def _job(name: str, widest: float, second: float) -> Job:
    travel = {n: _travel(name, n) for n in (widest, second)}
    pupil = tables.pupil(name)
    lens = Lens(
        id="L1",
        focal_mm=1e3 * tables.focal_m(name),
        t_stop=widest,
        transmission=1.0,
        unit="count",
        reading_step=1.0,
        units_per_turn=COUNTS_PER_MM * 1.3 * float(np.ptp(list(travel[widest].values()))),
        pupil_to_sensor_mm=1e3 * float(np.asarray(pupil.to_sensor_m)),
        pupil_magnification=float(np.asarray(pupil.magnification)),
        blur_floor_mm=0.001,
        ring_diameter_mm=80.0,
    )
    readings = [
        Reading(lens_id="L1", value=distance, position=COUNTS_PER_MM * mm, approach=way)
        for distance, mm in travel[widest].items()
        for way in ("near_to_far", "far_to_near")
    ]
    charts = [
        ChartTest(lens_id="L1", chart_distance_m=at, position=COUNTS_PER_MM * travel[n][_row(travel[n], at)], t_stop=n)
        for n in (widest, second)
        for at in (_row(travel[widest], one) for one in CHARTS_M)
    ]
    return Job(
        title="Trace",
        shooting_stop=f"T{second:g}",
        cameras=(Camera(letter="A"),),
        lenses=(lens,),
        readings=tuple(readings),
        charts=tuple(charts),
    )


def _row(travel: dict[float, float], wanted_m: float) -> float:
    """The traced distance nearest to one."""
    return min((at for at in travel if math.isfinite(at)), key=lambda at: abs(math.log(at / wanted_m)))


@pytest.mark.parametrize("name", tables.UNIT_FOCUSING)
def test_the_strip_stands_where_the_trace_is_sharp(name: str) -> None:
    """From 2.5 m to infinity the strip is within 8 % of the depth at the second stop, nearer it is better than as read;
    as read it is out by 17 % and more everywhere."""
    stops = sorted({row["f_number"] for row in tables.design(name)["depth_of_field"]})
    widest, second = stops[0], stops[1]
    entry = prepare(_job(name, widest, second)).lens("L1")
    true_mm = _travel(name, second)
    off: dict[bool, dict[float, float]] = {}
    for as_read in (False, True):
        made = lens_strip(entry, StripWish(Ring.of_diameter(80.0), as_read=as_read, units="m"), text_width)
        ticks = {tick.value: tick.position / COUNTS_PER_MM for tick in made.strip.ticks}
        room_mm = second * 25e-3
        off[as_read] = {at: abs(ticks[at] - mm) / room_mm for at, mm in true_mm.items() if at in ticks}
    assert math.inf in off[False]
    assert len(off[False]) > 4
    assert all(share < 0.08 for at, share in off[False].items() if at >= FAR_M)
    assert all(share < off[True][at] for at, share in off[False].items())
    assert all(share > 0.17 for share in off[True].values())
