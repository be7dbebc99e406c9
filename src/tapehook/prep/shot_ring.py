"""A focus ring through a shot: what is sharp on it at each frame, while the lens zooms and with what is added to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tapehook.lens import LensMap
from tapehook.optics import FocusState, Pupil, focus_state, half_width_dpt
from tapehook.optics.fittings import Fittings
from tapehook.shot.lane import depth_used, settings_m
from tapehook.shot.tube import Tube

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_STEP = 1e-4
"""Of the scale of a map, over which its slope is taken."""


@dataclass(frozen=True, slots=True)
class Lane:
    """The tube of those held, and for each person where given up or out of the ring's reach."""

    tube: Tube
    dropped: tuple[Bools, ...]
    unreachable: tuple[Bools, ...]
    room: Floats


@dataclass(frozen=True)
class Ring:
    """A focus ring in degrees over the K frames of a shot.

    ``focal_m`` is one for all frames or (K,) of a lens that zooms. Settings are metres from the image plane as the lens
    sees them; ``fittings`` turns them into what stands there and into what the scale says.
    """

    lens_map: LensMap
    focal_m: Floats
    pupil: Pupil
    blur_m: float
    fittings: Fittings
    step_s: float

    @cached_property
    def ends(self) -> Floats:
        """Lowest and highest position of the ring, degrees."""
        found = self.lens_map.curve([self.lens_map.near_value, self.lens_map.far_value])
        return np.sort(found * self.lens_map.degrees_per_unit)

    @cached_property
    def reach(self) -> tuple[Floats, Floats]:
        """Nearest and farthest setting, as the lens sees it."""
        return self.fittings.set_m(self.lens_map.near_value), self.fittings.set_m(self.lens_map.far_value)

    @cached_property
    def reach_m(self) -> tuple[float, float]:
        """Nearest and farthest place that can be in focus, metres from the image plane."""
        near, far = (self.fittings.subject_m(end) for end in self.reach)
        return float(np.min(near)), float(np.max(far))

    def degrees(self, setting_m: Floats) -> Floats:
        """Position in degrees of settings within the ring's range."""
        scale = self.fittings.scale_m(np.clip(setting_m, *self.reach))
        held = np.clip(scale, self.lens_map.near_value, self.lens_map.far_value)
        found: Floats = self.lens_map.curve(held) * self.lens_map.degrees_per_unit
        return found

    def scale(self, degrees: Floats) -> Floats:
        """What the scale says at positions in degrees."""
        return self.lens_map.value(np.clip(degrees, *self.ends) / self.lens_map.degrees_per_unit)

    def setting(self, degrees: Floats) -> Floats:
        """What the ring sets at positions in degrees."""
        return self.fittings.set_m(self.scale(degrees))

    def state(self, setting_m: Floats) -> FocusState:
        """The lens as set."""
        return focus_state(setting_m, self.focal_m, self.pupil)

    def width_dpt(self, state: FocusState, f_number: float) -> Floats:
        """Half-width of the depth, dioptres."""
        return half_width_dpt(f_number, self.focal_m, self.blur_m, state.pupil_factor)

    def slope(self, setting_m: Floats) -> Floats:
        """Change of position, in the unit of the lens, per dioptre at the entrance pupil, always positive."""
        scale = self.lens_map.scale
        here = self.fittings.scale_m(setting_m)
        stepped = scale.value(scale.place(here) + _STEP)
        vergence = [1.0 / self.state(self.fittings.set_m(one)).pupil_distance_m for one in (here, stepped)]
        slope: Floats = np.abs((self.lens_map.curve(stepped) - self.lens_map.curve(here)) / (vergence[1] - vergence[0]))
        return slope

    def bounds(self, distance_m: Floats, f_number: float) -> tuple[Floats, Floats, Bools]:
        """Lowest and highest sharp position of somebody, degrees, and where the ring cannot reach."""
        seen = self.fittings.seen_m(distance_m)
        near, far = settings_m(seen, self.focal_m, f_number, self.blur_m, self.pupil)
        unreachable = ~((far >= self.reach[0]) & (near <= self.reach[1] * (1.0 + 1e-9)))
        # A virtual subject beyond all depth has no setting, not even infinity.
        unreachable |= (seen < 0.0) & np.isinf(near)
        ends = np.stack([self.degrees(np.nan_to_num(x, nan=0.0, posinf=np.inf)) for x in (near, far)])
        return ends.min(axis=0), ends.max(axis=0), unreachable

    def lane(self, distances: Sequence[Floats], wanted: Sequence[Bools], rank: Floats, f_number: float) -> Lane:
        """The tube that holds everybody wanted; where not all can be, the more important ones."""
        low, high = np.full(rank.shape[1], self.ends[0]), np.full(rank.shape[1], self.ends[1])
        room = high - low
        own = [self.bounds(distance, f_number) for distance in distances]
        dropped = [np.zeros(rank.shape[1], dtype=np.bool_) for _ in distances]
        for place in np.unique(rank):
            for person, (own_low, own_high, unreachable) in enumerate(own):
                here = wanted[person] & (rank[person] == place) & ~unreachable
                new_low, new_high = np.maximum(low, own_low), np.minimum(high, own_high)
                fits = here & (new_low <= new_high)
                low, high = np.where(fits, new_low, low), np.where(fits, new_high, high)
                dropped[person] |= here & ~fits
                room = np.where(here, np.minimum(room, np.maximum(own_high - own_low, 1e-6) / 2.0), room)
        far = tuple(wanted[person] & own[person][2] for person in range(len(own)))
        return Lane(Tube(self.step_s, low, high), tuple(dropped), far, room)

    def behind(self, line: Floats, lag_s: float) -> Floats:
        """A line (K,) that arrives ``lag_s`` late."""
        frames = min(int(np.ceil(lag_s / self.step_s - 1e-9)), line.size)
        return np.concatenate([np.full(frames, line[0]), line[: line.size - frames]])

    def used(self, distance_m: Floats, line: Floats, f_number: float, lag_s: float) -> Floats:
        """Depth used of somebody at a line (K,), the most of now and of what arrives ``lag_s`` late."""
        subject = self.fittings.seen_m(distance_m)
        both = [
            depth_used(subject, self.setting(seen), self.focal_m, f_number, self.blur_m, self.pupil)
            for seen in (line, self.behind(line, lag_s))
        ]
        return np.nan_to_num(np.maximum(*both), nan=np.inf)
