"""Lenses, stops and distances that the tests of the optics share. Metres, as everywhere inside."""

from dataclasses import dataclass

from hypothesis import strategies as st

from tapehook.optics import Pupil, nearest_possible_m

focal_lengths_m = st.floats(0.008, 0.4)
f_numbers = st.floats(0.7, 32.0)
blurs_m = st.floats(2e-6, 1e-4)
pupils = st.builds(Pupil, to_sensor_m=st.floats(-0.1, 0.4), magnification=st.floats(0.25, 8.0))


@dataclass(frozen=True)
class Setting:
    """A unit-focusing lens set to a distance it can focus on."""

    distance_m: float
    focal_m: float
    f_number: float
    blur_m: float
    pupil: Pupil

    @property
    def lens(self) -> tuple[float, float, float, Pupil]:
        """Focal length, f-number, blur and pupil, in the order the functions take them."""
        return self.focal_m, self.f_number, self.blur_m, self.pupil

    @property
    def everything(self) -> tuple[float, float, float, float, Pupil]:
        """The distance too."""
        return self.distance_m, *self.lens


@st.composite
def settings(draw: st.DrawFn, *, farthest_m: float = 1e4) -> Setting:
    """A lens and a distance between a little beyond life size and ``farthest_m``."""
    focal_m, pupil = draw(focal_lengths_m), draw(pupils)
    nearest_m = max(float(nearest_possible_m(focal_m, pupil)), 0.0)
    distance_m = nearest_m + focal_m * draw(st.floats(1e-3, farthest_m / focal_m))
    return Setting(distance_m, focal_m, draw(f_numbers), draw(blurs_m), pupil)
