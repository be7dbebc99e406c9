"""The kit of the demo job: every lens as it truly is, and how the crew read it. ``make_demo_job`` writes it down."""

import math
from dataclasses import dataclass, replace
from typing import Literal

from tapehook.notation import parse_distance

Unit = Literal["deg", "count", "percent", "mm"]


@dataclass(frozen=True)
class Glass:
    """One lens of the kit as nature knows it, and how the crew read it.

    ``close`` is the nearest engraved distance as text, ``throw_deg`` the turn from infinity to there, ``zero``
    the position at infinity. ``cam`` 0 is even in travel, larger spreads the far end; ``sway`` bends it into an
    S. ``pupil_mm`` is entrance pupil to image plane, ``pupil_known`` whether the crew has it on paper. ``ways``
    "some": every other mark both ways. ``without`` are labels this scale does not have.
    """

    id: str
    model: str
    focal_mm: float
    t_stop: float
    camera: str
    serial: str
    close: str
    throw_deg: float
    zero: float
    pupil_mm: float
    pupil_magnification: float
    transmission: float | None = None
    pupil_known: bool = False
    cam: float = 3.0
    sway: float = 0.0
    rises: Literal["near", "far"] = "near"
    feet: bool = True
    unit: Unit = "deg"
    step: float = 0.1
    units_per_turn: float = 360.0
    noise_deg: float = 0.1
    play_deg: float = 0.2
    taped: bool = False
    ways: Literal["both", "some", "near_to_far"] = "both"
    gap_deg: float = 14.0
    without: tuple[str, ...] = ()
    infinity: str = "inf"
    charts: tuple[str, ...] = ()
    charts_measured: bool = False
    zoom_min_mm: float | None = None
    twin_of: str = ""
    note: str = ""
    rear_filter: str = ""
    squeeze: float | None = None
    extender: str = ""
    extender_length_mm: str = ""
    port: str = ""
    port_front_mm: str = ""
    quirks: str = ""
    condition_on_receipt: str = ""
    photos_on_receipt: str = ""

    @property
    def close_m(self) -> float:
        """Close focus, metres from the image plane."""
        return parse_distance(self.close)

    def object_m(self, distance_m: float) -> float:
        """v, metres from the front focal point, for D from the image plane: v + f^2/v = D - e - f/P."""
        f = self.focal_mm / 1000
        s = distance_m - self.pupil_mm / 1000 - f / self.pupil_magnification
        return 0.5 * (s + math.sqrt(s * s - 4 * f * f)) if math.isfinite(distance_m) else math.inf

    def turn_deg(self, object_m: float) -> float:
        """Ring angle from infinity for an object v metres from the front focal point."""
        part = self.object_m(self.close_m) / object_m
        turned = math.log1p(self.cam * part) / math.log1p(self.cam) if self.cam else part
        return self.throw_deg * (turned + self.sway * math.sin(2 * math.pi * turned) / (2 * math.pi))

    def shown(self, turn_deg: float, offset_deg: float = 0.0) -> str:
        """What the read-out shows at a ring angle, ``offset_deg`` added for play and noise."""
        sense = 1.0 if self.rises == "near" else -1.0
        return self.on_step(self.zero + sense * (turn_deg + offset_deg) * self.units_per_turn / 360)

    def on_step(self, position: float) -> str:
        """A position as its read-out shows it."""
        decimals = max(0, -math.floor(math.log10(self.step)))
        return f"{round(position / self.step) * self.step + 0.0:.{decimals}f}"


TEASEL_50 = Glass(
    "L05", "Teasel 50", 50, 1.3, "A", "50417", "2'", 285, 12.0, 71, 0.94, 0.87,
    pupil_known=True, cam=2.5, sway=0.08,
)  # fmt: skip

HEDDLE = Glass(
    "", "", 0, 1.5, "B", "", "", 0, 0, 0, 0,
    rises="far", feet=False, unit="count", step=1, units_per_turn=36000, infinity="∞",
)  # fmt: skip

KIT = (
    Glass(
        "L01", "Teasel 14", 14, 2.0, "A", "14022", '10"', 190, 3.0, 118, 2.6, 0.82,
        pupil_known=True, cam=5.0, gap_deg=10, charts=("1'", "2'", "6'"),
    ),
    Glass(
        "L02", "Teasel 18", 18, 1.5, "A", "18035", '11"', 210, -45.0, 112, 2.2, 0.84,
        pupil_known=True, cam=4.5, sway=-0.06, gap_deg=11, charts=("1'", "1'6\"", "3'", "8'"),
    ),
    Glass(
        "L03", "Teasel 25", 25, 1.3, "A", "25108", "1'", 255, 4.5, 104, 1.8, 0.85,
        without=("5'",), extender="2x", extender_length_mm="45",
    ),
    Glass(
        "L04", "Teasel 35", 35, 1.3, "A", "35061", "1'2\"", 270, 20.0, 88, 1.3, 0.86,
        cam=3.5, sway=0.1, charts=("1'6\"", "2'6\"", "5'", "12'"), charts_measured=True,
    ),
    TEASEL_50,
    Glass(
        "L06", "Teasel 65", 65, 1.5, "A", "65019", "2'3\"", 290, 8.0, 79, 0.88, 0.88,
        ways="near_to_far", port="flat", port_front_mm="195",
    ),
    Glass("L07", "Teasel 85", 85, 1.5, "A", "85033", "3'", 300, 15.5, 83, 0.81, 0.88, cam=2.0),
    Glass(
        "L08", "Teasel 100", 100, 1.8, "A", "10240", "3'6\"", 305, 6.0, 92, 0.77, None,
        cam=2.0, sway=-0.1, ways="some",
    ),
    Glass(
        "L09", "Teasel 135", 135, 2.0, "A", "13507", "5'", 310, -120.0, 110, 0.7, 0.89,
        cam=1.5, noise_deg=0.08,
    ),
    replace(
        HEDDLE, id="L10", model="Heddle 21", focal_mm=21, serial="H-0211", close="0.33 m", throw_deg=225,
        zero=24100, pupil_mm=96, pupil_magnification=2.0, transmission=0.81, cam=4.0, taped=True, step=1,
    ),
    replace(
        HEDDLE, id="L11", model="Heddle 29", focal_mm=29, serial="H-0298", close="0.36 m", throw_deg=240,
        zero=25350, pupil_mm=90, pupil_magnification=1.5, transmission=0.83, noise_deg=0.08,
    ),
    replace(
        HEDDLE, id="L12", model="Heddle 40", focal_mm=40, t_stop=1.4, serial="H-0404", close="0.45 m",
        throw_deg=260, zero=-1250, pupil_mm=82, pupil_magnification=1.1, transmission=0.84, pupil_known=True, sway=0.12,
        charts=("0.6 m", "1 m", "2 m", "4 m"), charts_measured=True,
    ),
    replace(
        HEDDLE, id="L13", model="Heddle 55", focal_mm=55, t_stop=1.4, serial="H-0553", close="0.6 m",
        throw_deg=275, zero=28900, pupil_mm=76, pupil_magnification=0.93, transmission=0.84, cam=2.5, play_deg=1.1,
        quirks="Loose gear: arrive from the same side, always. Flares with a lamp at the edge of the picture.",
        condition_on_receipt="scratch on the rear element, near the rim; filter thread dented",
        photos_on_receipt="photos/L13-rear.png",
    ),
    replace(
        HEDDLE, id="L14", model="Heddle 75", focal_mm=75, serial="H-0752", close="0.8 m", throw_deg=290,
        zero=30210, pupil_mm=80, pupil_magnification=0.86, cam=2.0, noise_deg=0.08, rear_filter="rear gel",
    ),
    replace(
        HEDDLE, id="L15", model="Heddle 110", focal_mm=110, t_stop=1.9, serial="H-1106", close="0.9 m",
        throw_deg=300, zero=31475, pupil_mm=98, pupil_magnification=0.76, transmission=0.86, cam=1.5, noise_deg=0.08,
    ),
    Glass(
        "L16", "Mattock 150", 150, 2.0, "C", "M1503", "5'", 320, 2.0, 128, 0.66, 0.86,
        cam=1.5, unit="percent", units_per_turn=112.5, noise_deg=0.08, charts=("6'", "10'", "20'"),
    ),
    Glass(
        "L17", "Mattock 180", 180, 2.0, "C", "M1801", "6'", 320, 1.5, 146, 0.62, 0.85,
        cam=1.5, unit="percent", units_per_turn=112.5, noise_deg=0.45, play_deg=0.3,
    ),
    Glass(
        "L18", "Mattock 200", 200, 2.0, "C", "M2004", "6'", 325, 1.0, 158, 0.6, None,
        cam=1.2, sway=0.06, unit="percent", units_per_turn=110.8, noise_deg=0.07,
    ),
    Glass(
        "L19", "Drawknife 22-58", 58, 2.8, "", "DK-118", "2'", 280, 10.0, 182, 0.9, 0.78,
        cam=2.5, charts=("3'", "8'"), zoom_min_mm=22,
    ),
    Glass(
        "L20", "Drawknife 60-165", 165, 2.8, "", "DK-207", "1.6 m", 320, 96.5, 236, 0.7, 0.76,
        cam=1.5, rises="far", feet=False, unit="percent", units_per_turn=105.0, noise_deg=0.08, ways="some",
        zoom_min_mm=60,
    ),
    Glass("L21", "Dibber 32", 32, 2.0, "C", "D-3219", "", 0, 0, 0, 0, note="came late, still in its case"),
    Glass(
        "L22", "Dibber 47", 47, 2.0, "C", "D-4702", "0.6 m", 180, 8.0, 74, 1.0, 0.8,
        rises="far", feet=False, unit="mm", step=0.5, units_per_turn=251.3, gap_deg=75,
        note="tape round the ring, 80 mm across", port="100", port_front_mm="190",
    ),
    Glass(
        "L23", "Dibber 90", 90, 2.0, "C", "", "1 m", 200, -4.0, 86, 0.8, 0.8,
        cam=1.5, rises="far", feet=False, unit="mm", step=0.5, units_per_turn=282.7, taped=True, play_deg=0.3,
        gap_deg=11, note="serial not read: engraving worn off; tape round the ring, 90 mm across", squeeze=2.0,
    ),
    replace(TEASEL_50, id="L24", serial="50422", throw_deg=285.9, zero=15.4, sway=0.083, twin_of="L05"),
)  # fmt: skip
