"""A map whose ring has to stand elsewhere than its marks were read, by a known move with a doubt of its own."""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95, Floats, LensMap


@dataclass(frozen=True)
class MovedMap(LensMap):
    """A lens map moved by ``move`` (K,) with the standard deviation ``move_sd`` (K,), in the unit of the read-out.

    Both hold at ``places`` (K,) of the scale, rising, straight between them and the same beyond either end. Bands are
    those of the map with the doubt of the move in squares. ``marks`` are moved with the map.
    """

    places: Floats = field(default_factory=lambda: np.zeros(1))
    move: Floats = field(default_factory=lambda: np.zeros(1))
    move_sd: Floats = field(default_factory=lambda: np.zeros(1))

    def position(self, value: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Position and standard deviation, as of any map."""
        mean, sd = super().position(value)
        places = np.atleast_1d(self.scale.place(value))
        return mean + self._moved(places), np.hypot(sd, self._doubt(places))

    def grid(self, count: int = 201) -> tuple[Floats, Floats, Floats]:
        """Values, positions and half-widths of the 95 % band, as of any map."""
        values, positions, half = super().grid(count)
        places = self.scale.place(values)
        return values, positions + self._moved(places), np.hypot(half, Z95 * self._doubt(places))

    def _curve(self, places: Floats) -> Floats:
        return super()._curve(places) + self._moved(places)

    def _moved(self, places: Floats) -> Floats:
        return np.interp(places, self.places, self.move)

    def _doubt(self, places: Floats) -> Floats:
        return np.interp(places, self.places, self.move_sd)


def moved_map(lens_map: LensMap, places: Floats, move: Floats, move_sd: Floats) -> MovedMap:
    """``lens_map`` moved at ``places`` (K,), rising, by ``move`` (K,) with its standard deviation ``move_sd`` (K,)."""
    own = lens_map.marks
    marks = replace(own, positions=own.positions + np.interp(lens_map.scale.place(own.values), places, move))
    return MovedMap(
        lens_map.scale,
        marks,
        lens_map.fit,
        lens_map.degrees_per_unit,
        lens_map.far_value,
        lens_map.near_value,
        lens_map.centre_sd_deg,
        places,
        move,
        move_sd,
    )
