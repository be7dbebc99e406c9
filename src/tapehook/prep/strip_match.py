"""Ready-marked strips on the lenses of a job: which fits which, turned how, how far each mark is off, which to pin."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from tapehook.job.ready_strips import ReadyStrip
from tapehook.lens import LensMap
from tapehook.prep.results import LensPrep, StopView
from tapehook.prep.room import optics_of, room
from tapehook.prep.shooting_map import map_at
from tapehook.prep.strips import measured_degrees_per_unit
from tapehook.strip import StripTurn, best_pins, turn_strip

Floats = npt.NDArray[np.float64]

SERVES = 0.5
"""A strip serves a lens when each of its marks uses at most so much of the room on one side of the focus."""
_NEAR_SLACK = 1e-6
_EVEN_DEG = 1.0
"""Where the depth is not known all marks count alike, against a degree of turn."""


@dataclass(frozen=True, slots=True)
class StripFit:
    """One strip on one lens. Arrays (n,) run over ``distance_m``, nearest first; shares are fractions at the stop.

    ``turn.turn_deg`` is the ring position, in degrees of the read-out, at which the strip's 0 comes to lie, with the
    strip held the way the ring runs. ``plus_minus`` is the share that the map's own 95 % band takes at each mark.
    ``left_out`` are marks nearer than the lens focuses. Shares are None where the depth is not known.
    """

    strip_id: str
    distance_m: tuple[float, ...]
    turn: StripTurn
    depth_known: bool
    plus_minus: tuple[float, ...] | None
    left_out: int

    @property
    def depth_used(self) -> Floats | None:
        """Each mark's error as a share of the room on that side of the focus."""
        return self.turn.depth_used if self.depth_known else None

    @property
    def worst(self) -> float | None:
        """The most that a mark uses."""
        return float(self.turn.depth_used.max()) if self.depth_known else None

    def trusted_m(self, most: float = SERVES) -> tuple[float, float] | None:
        """Nearest and farthest distance of the longest run of marks that each use at most so much; None below two."""
        run = self.turn.trusted(most) if self.depth_known else None
        return None if run is None or run[0] == run[1] else (self.distance_m[run[0]], self.distance_m[run[1]])


@dataclass(frozen=True, slots=True)
class LensMatch:
    """All strips on one lens, the best first, or why none can be laid on it. ``stop`` is what shares hold at."""

    lens_id: str
    stop: StopView | None
    fits: tuple[StripFit, ...]
    refusal: str | None = None

    @property
    def best(self) -> StripFit | None:
        """The strip that fits best."""
        return self.fits[0] if self.fits else None

    def fit(self, strip_id: str) -> StripFit | None:
        """One strip on this lens; None when it cannot be laid on it."""
        return next((fit for fit in self.fits if fit.strip_id == strip_id), None)


@dataclass(frozen=True, slots=True)
class KitMatch:
    """A whole kit against all strips owned: ``pins`` are the few to keep at hand, ``served`` the lenses they serve."""

    strip_ids: tuple[str, ...]
    lenses: tuple[LensMatch, ...]
    pins: tuple[str, ...]
    served: tuple[str, ...]


def match_strips(entries: Sequence[LensPrep], strips: Sequence[ReadyStrip], most_pins: int = 3) -> KitMatch:
    """Every strip on every lens, and the up to ``most_pins`` strips that serve the most lenses.

    Raises ValueError when there are too many sets of strips to try (see ``best_pins``).
    """
    lenses = tuple(match_lens(entry, strips) for entry in entries)
    ids = tuple(strip.id for strip in strips)
    used = np.array([[_worst(lens.fit(strip_id)) for strip_id in ids] for lens in lenses]).reshape(
        len(lenses), len(ids)
    )
    chosen = best_pins(used, most_pins, SERVES) if lenses else ()
    inside = [any(row[i] <= SERVES for i in chosen) for row in used.tolist()]
    served = tuple(lens.lens_id for lens, good in zip(lenses, inside, strict=True) if good)
    return KitMatch(ids, lenses, tuple(ids[i] for i in chosen), served)


def _worst(fit: StripFit | None) -> float:
    return float("nan") if fit is None or fit.worst is None else fit.worst


def match_lens(entry: LensPrep, strips: Sequence[ReadyStrip]) -> LensMatch:
    """All strips that can be laid on a lens, the best first; shares at the shooting stop, or else the widest."""
    lens_map, degrees = map_at(entry), measured_degrees_per_unit(entry.lens)
    stop = entry.shooting or entry.widest
    if lens_map is None:
        return LensMatch(entry.lens.id, stop, (), "there is no focus map")
    if not lens_map.monotone:
        return LensMatch(entry.lens.id, stop, (), "its map turns back on itself")
    if degrees is None:
        return LensMatch(entry.lens.id, stop, (), "how far its ring turns is not known: give units_per_turn")
    found = [fit for strip in strips if (fit := _fit(entry, lens_map, degrees, stop, strip)) is not None]
    ranked = tuple(sorted(found, key=lambda fit: (fit.turn.loss, fit.strip_id)))
    refusal = None if ranked else "no strip has three marks within its range"
    return LensMatch(entry.lens.id, stop, ranked, refusal)


def _fit(
    entry: LensPrep, lens_map: LensMap, degrees: float, stop: StopView | None, strip: ReadyStrip
) -> StripFit | None:
    """One strip on one lens; None with fewer than three marks in its range."""
    values = np.array(strip.distance_m)
    inside = values >= lens_map.near_value * (1 - _NEAR_SLACK)
    marks, turned = values[inside], np.array(strip.position_deg)[inside]
    if marks.size < 3:
        return None
    positions, band = lens_map.position_band(marks)
    width = room(lens_map, optics_of(entry), stop, marks)
    half = np.full(marks.size, _EVEN_DEG) if width is None else width * degrees
    # Held the way the ring runs: both rise toward near, or both fall.
    rises: Literal[-1, 1] = 1 if strip.position_deg[0] > strip.position_deg[-1] else -1
    turn = turn_strip(turned * rises * lens_map.toward_near, positions * degrees, half)
    share = None if width is None else tuple((band * degrees / half).tolist())
    return StripFit(strip.id, tuple(marks.tolist()), turn, width is not None, share, int((~inside).sum()))


def strip_match_as_json(kit: KitMatch) -> dict[str, object]:
    """A kit's match as plain JSON values: the shape of ``tapehook strip-match --json``; shares as fractions."""
    return {
        "lenses": {lens.lens_id: _lens_as_json(lens) for lens in kit.lenses},
        "pins": list(kit.pins),
        "served": list(kit.served),
        "serves_at": SERVES,
    }


def _lens_as_json(lens: LensMatch) -> dict[str, object]:
    best = lens.best
    return {
        "stop": lens.stop.text if lens.stop else None,
        "best": best.strip_id if best else None,
        "turn_deg": best.turn.turn_deg if best else None,
        "worst_depth_used": best.worst if best else None,
        "refused": lens.refusal,
        "strips": [_fit_as_json(fit) for fit in lens.fits],
    }


def _fit_as_json(fit: StripFit) -> dict[str, object]:
    used = [None] * len(fit.distance_m) if fit.depth_used is None else fit.depth_used.tolist()
    band = fit.plus_minus or [None] * len(fit.distance_m)
    trusted = fit.trusted_m()
    return {
        "strip": fit.strip_id,
        "turn_deg": fit.turn.turn_deg,
        "worst_depth_used": fit.worst,
        "trusted_m": None if trusted is None else [_metres(end) for end in trusted],
        "left_out": fit.left_out,
        "marks": [
            {"distance_m": _metres(distance), "error_deg": error, "depth_used": share, "plus_minus": half}
            for distance, error, share, half in zip(
                fit.distance_m, fit.turn.error_deg.tolist(), used, band, strict=True
            )
        ],
    }


def _metres(distance: float) -> float | None:
    return distance if np.isfinite(distance) else None
