"""Zooms of known truth, read and mapped, for the fast and the slow test of the map's figures."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.scale import FocusScale
from tapehook.lens.zoom import ZoomMap, fit_zoom
from tests.simulator.lenses import COC_M
from tests.simulator.paper import taping_sd_m
from tests.simulator.zooms import TrueZoom, draw_zoom

Floats = npt.NDArray[np.float64]

F_NUMBER = 2.8
JUDGEMENT_USED = 0.15
FOCALS, DISTANCES = 5, 7


@dataclass(frozen=True)
class ZoomTrial:
    """One zoom: errors of its map as shares of the depth at N 2.8 over focal lengths and distances, and their z."""

    zoom: TrueZoom
    zoom_map: ZoomMap
    used: Floats
    score: Floats
    strip: Floats
    """What the strip of the long end alone uses there."""


def read_zoom(rng: np.random.Generator, zoom: TrueZoom) -> tuple[Floats, Floats, Floats]:
    """Distances, focal lengths and positions in degrees of best focus on taped charts, both ways averaged: (n,)."""
    q = np.linspace(0.03, 1.0, DISTANCES) * zoom.lens.near_dpt
    written = zoom.lens.distance_m(q)
    true = written + rng.normal(0, 1, DISTANCES) * taping_sd_m(written)
    focals = np.geomspace(zoom.wide_m, zoom.long_m, FOCALS)
    d, f = (a.ravel() for a in np.meshgrid(written, focals))
    t = np.tile(true, FOCALS)
    judged = JUDGEMENT_USED * F_NUMBER * COC_M / f**2
    at = zoom.position_deg(t, f)
    slope = np.abs(zoom.slope_deg_per_dpt(t))
    noise = np.hypot(zoom.lens.noise_deg, slope * judged) / np.sqrt(2.0)
    return d, f, at + rng.normal(0, 1, d.size) * noise


def run(seed: int) -> ZoomTrial:
    """Draw a zoom, read it, map it, and hold the map against the truth between marks and focal lengths."""
    rng = np.random.default_rng(seed)
    zoom = draw_zoom(rng)
    d, f, y = read_zoom(rng, zoom)
    scale = FocusScale.of(d, zoom.long_m)
    tape = taping_sd_m(d) / (d - scale.datum_m) ** 2
    found = fit_zoom(d, f, y, np.full(d.size, 0.5), scale, tape, JUDGEMENT_USED * F_NUMBER * COC_M / f**2)
    at_m = zoom.lens.distance_m(np.linspace(0.05, 0.98, 25) * zoom.lens.near_dpt)
    used, score, strip = [], [], []
    for focal in np.geomspace(zoom.wide_m, zoom.long_m, 9):
        mean, sd = found.position(at_m, focal)
        room = np.abs(zoom.slope_deg_per_dpt(at_m)) * F_NUMBER * COC_M / focal**2
        error = mean - zoom.position_deg(at_m, focal)
        used.append(np.abs(error) / room)
        score.append(error / sd)
        strip.append(np.abs(found.position(at_m, zoom.long_m)[0] - zoom.position_deg(at_m, focal)) / room)
    return ZoomTrial(zoom, found, np.array(used), np.array(score), np.array(strip))
