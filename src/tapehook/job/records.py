"""The records of a job, as people write them down.

Fields carry their unit in the name. A field nobody filled in is ``None``: no record invents a value; what is
assumed in its place is decided, and printed, by ``prep``. Records are frozen: a correction is a new record.

Numbers have limits far outside anything a lens can have, so that what computes on them never overflows. What
a record's own checks raise follows the words "expected ..." in a message.
"""

import math
import re
from typing import Annotated, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    model_validator,
)

Axis = Literal["focus", "iris", "zoom"]
PositionUnit = Literal["deg", "count", "percent", "mm"]
Approach = Literal["near_to_far", "far_to_near"]
Method = Literal["engraved", "taped"]
System = Literal["metric", "imperial"]

_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


def _stripped(value: object) -> object:
    return value.strip() if isinstance(value, str) else value


def _stripped_or_none(value: object) -> object:
    """Text without the space around it; None when nothing is left: an empty cell says nothing."""
    return (value.strip() or None) if isinstance(value, str) else value


def _one_line(value: str) -> str:
    if _CONTROL.search(value):
        raise ValueError("on one line")
    return value


def _letters(value: str | None) -> str | None:
    """Camera letters parted by single spaces, however they were parted."""
    return None if value is None else " ".join(re.split(r"[\s,;/]+", value.strip(" \t\n,;/"))) or None


def _filled(cells: dict[str, str]) -> dict[str, str]:
    return {header: text for header, text in cells.items() if text.strip()}


Identifier = Annotated[str, BeforeValidator(_stripped), AfterValidator(_one_line), Field(min_length=1, max_length=80)]
Name = Annotated[str, AfterValidator(_one_line), Field(max_length=200)]
Text = Annotated[str | None, BeforeValidator(_stripped_or_none)]
"""Free text; the space around it is dropped, and empty text is None."""
Positive = Annotated[float, Field(ge=1e-6, le=1e9, allow_inf_nan=False)]
FocalMm = Annotated[float, Field(ge=1, le=10_000, allow_inf_nan=False)]
"""Millimetres, as ``notation`` reads them: 0.05 is metres that somebody forgot to turn into millimetres."""
WIDEST_T, NARROWEST_T = 0.5, 128.0
TStop = Annotated[float, Field(ge=WIDEST_T, le=NARROWEST_T, allow_inf_nan=False)]
"""A T-number within the limits of ``notation``."""
KEPT_EARLIER = "kept earlier"
"""In the context of a validation: the record comes from a book, where limits of today did not hold yet."""


def _t_stop_kept(value: object, take: ValidatorFunctionWrapHandler, info: ValidationInfo) -> float:
    """A T-stop; one that was kept before there were limits stays as it is, for a light test is none without it."""
    if (info.context or {}).get(KEPT_EARLIER) and isinstance(value, float) and 1e-6 <= value <= 1e9:
        return value
    found: float = take(value)
    return found


SideMm = Annotated[float, Field(ge=1, le=1000, allow_inf_nan=False)]
"""A side of a recorded area, millimetres."""
Finite = Annotated[float, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]
Distance = Annotated[float, Field(ge=1e-3, le=1e6)]
"""Metres from the image plane, 1 mm to 1,000 km; farther is infinity."""
Share = Annotated[float, Field(gt=0, le=1)]
Letter = Annotated[str, Field(min_length=1, max_length=12, pattern=r"^[^\s,;/]+$")]
Extra = Annotated[dict[str, str], AfterValidator(_filled)]
"""Columns this version does not know: kept, and written back as they were read; empty cells left out."""
Keys = dict[str, object]
"""Keys of ``job.toml`` this version does not know: kept, and written back."""


def _port(value: object) -> object:
    """A flat port, or the radius of a dome: 1 cm to 2 m."""
    if value == "flat" or (isinstance(value, int | float) and 10.0 <= value <= 2000.0):
        return value
    raise ValueError("from 10 to 2000")


PortShape = Annotated[Literal["flat"] | float, BeforeValidator(_port)]


class Record(BaseModel):
    """Base of all records: frozen, and closed to fields it does not name."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class TableRecord(Record):
    """A record that is one row of a table; ``row`` is the row in its file (1 is the header), for messages."""

    extra: Extra = Field(default_factory=dict)
    row: int | None = None


class Lens(TableRecord):
    """One lens, one serial number. ``focal_mm`` is the long end of a zoom, ``focal_min_mm`` its wide end."""

    id: Identifier
    kind: Literal["prime", "zoom"] = "prime"
    focal_mm: FocalMm | None = None
    focal_min_mm: FocalMm | None = None
    t_stop: TStop | None = None
    transmission: Share | None = None
    rises_toward: Literal["near", "far"] | None = None
    engraved_in: Literal["feet", "metric"] | None = None
    unit: PositionUnit = "deg"
    reading_step: Positive | None = None
    twin_of: Text = None
    close_focus_m: Distance | None = None
    units_per_turn: Positive | None = None
    serial: Text = None
    model: Text = None
    camera: Annotated[Text, AfterValidator(_letters)] = None
    """Letters of the cameras that carry it, separated by spaces; empty: shared by all."""
    pupil_to_sensor_mm: Finite | None = None
    """Entrance pupil to image plane at infinity focus; positive: the pupil is in front of the image plane."""
    pupil_magnification: Positive | None = None
    focuses_by: Literal["whole", "front", "inner"] | None = None
    """What moves: the whole lens, what stands before the iris, or inner groups."""
    blur_floor_mm: Annotated[float, Field(ge=1e-6, le=1, allow_inf_nan=False)] | None = None
    """Diameter of the blur disc left at best focus, wide open."""
    hard_stop_near: Finite | None = None
    """Position at which the ring meets its hard stop at the near end; the three below alike, in the lens's unit."""
    hard_stop_far: Finite | None = None
    motor_end_near: Finite | None = None
    """End of travel the motor was calibrated to at the near end of this lens."""
    motor_end_far: Finite | None = None
    ring_diameter_mm: Annotated[float, Field(ge=5, le=1000)] | None = None
    """Diameter of the focus ring where a strip is laid."""
    squeeze: Annotated[float, Field(ge=1, le=3)] | None = None
    """How many times an anamorphic lens takes in the width that its focal length would; None: it is no such lens."""
    pupil_across_to_sensor_mm: Finite | None = None
    """Entrance pupil across the picture to image plane, as ``pupil_to_sensor_mm`` is along it."""
    rear_filter: Text = None
    """What stands behind it on the shoot: ids of filters parted by "+", or "none"; None: what its camera says."""
    extender: Annotated[float, Field(ge=1, le=4)] | None = None
    """How many times the extender lengthens that it is also used with."""
    extender_length_mm: Annotated[float, Field(ge=0, le=500)] | None = None
    port: PortShape | None = None
    """A port in front of it that it is also used behind, in water: "flat", or the radius of a dome, millimetres."""
    port_front_mm: Annotated[float, Field(ge=20, le=5000)] | None = None
    """Image plane to the middle of the port's outer face: no lens goes in between under 20 mm."""
    port_glass_mm: Annotated[float, Field(ge=0, le=500)] | None = None
    water: Literal["fresh", "sea"] | None = None
    quirks: Text = None
    """What to know of it that no figure says, for whoever pulls with it next."""
    condition_on_receipt: Text = None
    photos_on_receipt: Text = None
    """Names of files in the job folder, parted by semicolons; on return alike."""
    condition_on_return: Text = None
    photos_on_return: Text = None
    note: Text = None


class Reading(TableRecord):
    """One reading of a ring: what the scale or tape says, against the position the read-out shows.

    ``value`` is in the unit of the axis: metres from the image plane (``inf`` allowed) for focus, T-number for
    iris, millimetres for zoom. ``written`` is the same as it was written down; for iris and zoom None stands
    for the bare number.
    """

    lens_id: Identifier
    axis: Axis = "focus"
    mark_no: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    written: Text = None
    value: Annotated[float, Field(ge=1e-3)]
    position: Finite
    approach: Approach | None = None
    method: Method = "engraved"
    temperature_c: Annotated[float, Field(ge=-100, le=200)] | None = None
    rear_filter: Text = None
    """What stood behind the lens: ids of filters parted by "+", or "none"; None: nobody wrote it down."""
    focal_mm: FocalMm | None = None
    """What a zoom was set to; of a focus mark found by the picture."""

    @model_validator(mode="after")
    def _within_reach(self) -> Self:
        """Only a focus ring has an infinity mark; past 1,000 km a distance is infinity."""
        if self.value > 1e6 and not (self.axis == "focus" and math.isinf(self.value)):
            raise ValueError("at most 1,000,000; what is farther is inf, on a focus scale only")
        return self


class ChartTest(TableRecord):
    """Best focus found on a chart, wide open unless ``t_stop`` says otherwise.

    A chart of known width gives the magnification too: ``frame_fill`` is the part of the image width it
    fills. ``written`` is the chart's distance as it was written down, where that was text.
    """

    lens_id: Identifier
    chart_distance_m: Distance
    written: Text = None
    position: Finite | None = None
    approach: Approach | None = None
    t_stop: TStop | None = None
    camera: Text = None
    focal_mm: FocalMm | None = None
    chart_width_m: Positive | None = None
    frame_fill: Share | None = None
    rear_filter: Text = None
    """What stood behind the lens, as for a reading."""
    lines: Literal["upright", "level"] | None = None
    """Of an anamorphic lens: which lines of the chart were sharpest; upright ones tell the direction across."""
    centre_x_mm: Annotated[float, Field(ge=-100, le=100)] | None = None
    """Where a mark in the middle of the picture came to lie on the sensor, to the right of the middle; y: above it."""
    centre_y_mm: Annotated[float, Field(ge=-100, le=100)] | None = None


class LightTest(TableRecord):
    """Light that one lens passes at one engraved T-stop, against the reference of its set.

    ``level_stops`` in stops, positive: brighter than the reference. ``focal_mm`` is what a zoom was set to.
    """

    lens_id: Identifier
    t_stop: Annotated[TStop, WrapValidator(_t_stop_kept)]
    level_stops: Annotated[float, Field(ge=-20, le=20)]
    focal_mm: FocalMm | None = None


class MorningCheck(TableRecord):
    """Best focus found on a chart wide open, on the morning after a cold night, on the body the lens is used on.

    ``written`` is the chart's distance as it was written down, where that was text; ``date`` as 2026-11-26.
    """

    lens_id: Identifier
    date: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")] | None = None
    chart_distance_m: Annotated[float, Field(ge=1e-3)]
    """Metres from the image plane; ``inf`` for a chart at infinity, such as a collimator's."""
    written: Text = None
    position: Finite
    approach: Approach | None = None
    camera: Text = None
    temperature_c: Annotated[float, Field(ge=-100, le=200)] | None = None
    """Of the lens, at the check."""
    note: Text = None

    @model_validator(mode="after")
    def _within_reach(self) -> Self:
        """Past 1,000 km a distance is infinity."""
        if 1e6 < self.chart_distance_m < math.inf:
            raise ValueError("at most 1,000,000; what is farther is inf")
        return self


class Criterion(Record):
    """What counts as sharp: one of the named choices (see ``tapehook.optics.sharpness``)."""

    name: Literal["fixed", "diagonal", "photosites", "viewing"] = Field(
        "fixed", description="Which of the named choices", examples=["fixed"]
    )
    coc_mm: Annotated[float, Field(ge=1e-6, le=1, allow_inf_nan=False)] | None = Field(
        None, description="fixed: diameter of the largest blur disc taken as sharp, mm", examples=[0.025]
    )
    divisor: Positive | None = Field(
        None, description="diagonal: the image diagonal is divided by it", examples=[1500.0]
    )
    photosites: Positive | None = Field(
        None, description="photosites: width of the blur disc in photosites", examples=[2.0]
    )
    picture_heights: Positive | None = Field(
        None, description="viewing: distance of the viewer in picture heights", examples=[3.0]
    )
    arcminutes: Annotated[float, Field(ge=1e-6, le=600)] | None = Field(
        None, description="viewing: what the eye still tells apart, arc minutes", examples=[1.0]
    )
    extra: Keys = Field(default_factory=dict)


AirTemperature = Annotated[float, Field(ge=-40, le=50)]
"""Where the formula of the dew point holds, °C."""
Minutes = Annotated[float, Field(ge=0.1, le=10_000)]


class Weather(Record):
    """The air the lenses are used in, and where they come from: what fogs, and when focus may be trusted.

    How fast a lens takes on the temperature of the air comes from what a barrel showed later, else as given.
    """

    air_c: AirTemperature = Field(description="Temperature of the air where the lenses are used, °C", examples=[22.0])
    humidity_percent: Annotated[float, Field(ge=0.1, le=100)] = Field(
        description="Its relative humidity, per cent", examples=[50.0]
    )
    lenses_from_c: Annotated[float, Field(ge=-100, le=200)] = Field(
        description="Temperature the lenses come from, °C", examples=[-5.0]
    )
    time_constant_min: Minutes | None = Field(
        None, description="Minutes a lens takes for 63 % of the way; 30 is assumed", examples=[30.0]
    )
    later_c: Annotated[float, Field(ge=-100, le=200)] | None = Field(
        None, description="What a barrel showed later, in that air, °C", examples=[6.0]
    )
    later_min: Minutes | None = Field(None, description="After how many minutes it showed that", examples=[15.0])
    extra: Keys = Field(default_factory=dict)


class Camera(Record):
    """One camera of the job. The sensor's recorded area is in millimetres."""

    letter: Letter = Field(description="Letter of the camera, no spaces", examples=["A"])
    name: Name | None = Field(None, description="Name of the body, as labelled", examples=["A body"])
    sensor_width_mm: SideMm | None = Field(None, description="Width of the recorded area, mm", examples=[24.89])
    sensor_height_mm: SideMm | None = Field(None, description="Height of the recorded area, mm", examples=[18.66])
    photosite_um: Positive | None = Field(None, description="Distance from photosite to photosite, µm", examples=[6.5])
    colour: Name | None = Field(None, description="Colour of the camera's tape", examples=["red"])
    rear_filter: Name | None = Field(
        None, description="What stands behind its lenses on the shoot: a filter, several with +", examples=["gel"]
    )
    monitor_delay_ms: Annotated[float, Field(ge=0, le=5000)] | None = Field(
        None, description="How late the picture is on the monitor focus is pulled off, ms", examples=[83.0]
    )
    extra: Keys = Field(default_factory=dict)


class Motor(Record):
    """A lens motor and what it drives."""

    id: Identifier = Field(description="Label of the motor", examples=["M1"])
    camera: Name | None = Field(None, description="Letter of the camera it is on", examples=["A"])
    axis: Literal["focus", "iris", "zoom", "extra"] = Field(
        "focus", description="The ring it drives", examples=["focus"]
    )
    lag_ms: Annotated[float, Field(ge=0, le=1e6)] | None = Field(
        None, description="Time from the hand to the ring, ms", examples=[21.0]
    )
    extra: Keys = Field(default_factory=dict)


Level = Annotated[float, Field(ge=-200, le=100)]
"""A level in dBm, or a difference in dB."""
Metres = Annotated[float, Field(ge=-1e5, le=1e5)]


class Radio(Record):
    """A radio of a hand unit or receiver: what it sends and stands, and where it is."""

    id: Identifier = Field(description="Label of the radio", examples=["R1"])
    camera: Name | None = Field(None, description="Letter of the camera it belongs to", examples=["A"])
    role: Literal["hand", "receiver"] = Field("hand", description="Hand unit or receiver", examples=["hand"])
    bands: Annotated[list[str], Field(max_length=4)] | None = Field(
        None, description="Bands it can use: 780, 868, 915, 2450 of IEEE 802.15.4, MHz", examples=[["2450", "915"]]
    )
    power_dbm: Level | None = Field(None, description="Power sent, EIRP, dBm", examples=[10.0])
    sensitivity_dbm: Level | None = Field(None, description="Weakest signal it hears, dBm", examples=[-95.0])
    adjacent_db: Level | None = Field(None, description="Rejection of the next channel, dB", examples=[20.0])
    alternate_db: Level | None = Field(None, description="Rejection of the next but one, dB", examples=[40.0])
    co_channel_db: Annotated[float, Field(ge=0, le=40)] | None = Field(
        None, description="How far a signal must stand above one on its own channel, dB; 6 is assumed", examples=[8.0]
    )
    other_band_db: Annotated[float, Field(ge=0, le=150)] | None = Field(
        None, description="Rejection of another band, dB; 50 is assumed", examples=[60.0]
    )
    listens: bool = Field(
        default=False,
        description="Listens before it talks and changes frequency by itself when it hears another: both",
        examples=[True],
    )
    duty: Share | None = Field(None, description="Share of the time on the air; 1 is always", examples=[1.0])
    x_m: Metres | None = Field(None, description="Place on the floor plan, m", examples=[4.0])
    y_m: Metres | None = Field(None, description="Place on the floor plan, m", examples=[2.5])
    extra: Keys = Field(default_factory=dict)


class Emitter(Record):
    """Somebody else's sender: Wi-Fi, video, another crew."""

    id: Identifier = Field(description="Label of the sender", examples=["stage Wi-Fi"])
    kind: Literal["wifi", "video", "crew", "microphone", "other"] = Field(
        "other", description="What it is", examples=["wifi"]
    )
    wifi_channel: Annotated[int, Field(ge=1, le=14)] | None = Field(
        None, description="Channel of IEEE 802.11 at 2.4 GHz, in place of centre and width", examples=[6]
    )
    centre_mhz: Annotated[float, Field(ge=1, le=100_000)] | None = Field(
        None, description="Middle of its channel, MHz", examples=[2437.0]
    )
    width_mhz: Annotated[float, Field(ge=0.001, le=1000)] | None = Field(
        None, description="Width of its channel, MHz", examples=[20.0]
    )
    power_dbm: Level | None = Field(None, description="Power sent, EIRP, dBm", examples=[20.0])
    x_m: Metres | None = Field(None, description="Place on the floor plan, m", examples=[30.0])
    y_m: Metres | None = Field(None, description="Place on the floor plan, m", examples=[10.0])
    extra: Keys = Field(default_factory=dict)


FilterKind = Literal["nd", "close_up", "split_dioptre", "polariser", "pair", "variable", "other"]


class Filter(Record):
    """A filter on hand. What it does to light is a density, two constants (a pair) or a measured table (variable)."""

    id: Identifier = Field(description="Label of the filter", examples=["N6"])
    camera: Name | None = Field(
        None, description="Letter of the camera whose tray it is in; empty: shared", examples=["A"]
    )
    kind: FilterKind = Field("nd", description="What it is", examples=["nd"])
    density: Annotated[float, Field(ge=0, le=6)] | None = Field(
        None, description="Density it takes; 0.3 is a stop", examples=[0.6]
    )
    count: Annotated[int, Field(ge=0, le=100)] = Field(1, description="How many are on hand", examples=[1])
    power_dpt: Annotated[float, Field(ge=-20, le=20)] | None = Field(
        None, description="close_up, split_dioptre: power, dioptres", examples=[0.5]
    )
    k0: Share | None = Field(None, description="pair: share of light passed aligned", examples=[0.32])
    k90: Annotated[float, Field(ge=0, lt=1)] | None = Field(
        None, description="pair: share of light passed crossed", examples=[0.00005]
    )
    positions_deg: Annotated[list[Finite], Field(max_length=200)] | None = Field(
        None, description="variable: ring angles of the measured table, degrees", examples=[[0.0, 15.0, 30.0, 45.0]]
    )
    densities: Annotated[list[Annotated[float, Field(ge=0, le=6)]], Field(max_length=200)] | None = Field(
        None, description="variable: densities measured there", examples=[[0.31, 0.35, 0.46, 0.64]]
    )
    thickness_mm: Annotated[float, Field(ge=0.001, le=100)] | None = Field(
        None, description="Thickness of what stands behind the lens, mm", examples=[0.1]
    )
    refractive_index: Annotated[float, Field(ge=1, le=4)] | None = Field(
        None, description="Its refractive index", examples=[1.5]
    )
    colour: Name | None = Field(None, description="Colour cast, as seen or measured", examples=["a little green"])
    stacking: Name | None = Field(None, description="What to mind when it is stacked", examples=["front only"])
    extra: Keys = Field(default_factory=dict)


class Job(Record):
    """A whole job: what ``job.toml`` says, and the rows of its tables.

    ``column_order`` keeps, for each table read ("lenses", "readings", "charts", "tstops", "morning"), the header as it
    was read, so that writing gives it back.
    """

    title: Name = Field("Untitled job", description="Name of the job, for the cover", examples=["Harbour, unit 1"])
    region: Name | None = Field(None, description="Where radios are used", examples=["GB"])
    surroundings: Literal["free_space", "in_sight", "no_sight", "homes"] | None = Field(
        None, description="What radio links cross", examples=["in_sight"]
    )
    body_loss_db: Annotated[float, Field(ge=0, le=60)] | None = Field(
        None, description="What a body takes of a wanted radio signal, dB; 10 is assumed", examples=[15.0]
    )
    most_receivers: Annotated[int, Field(ge=1, le=50)] | None = Field(
        None, description="So many receivers a hand unit serves; 3 is assumed", examples=[4]
    )
    fired_effects: bool = Field(
        default=False, description="Electrically fired effects are on the call", examples=[True]
    )
    units: System = Field("metric", description="What distances are shown in", examples=["metric"])
    shooting_stop: str | None = Field(None, description="T-stop the job will be shot at", examples=["T2.8"])
    """As written, for example "T2.8"."""
    shoot_temperature_c: Annotated[float, Field(ge=-100, le=200)] | None = Field(
        None, description="Temperature the lenses will have on the shoot, °C", examples=[5.0]
    )
    paper: Literal["a4", "us-letter"] = Field("a4", description="Paper of the PDF", examples=["a4"])
    criterion: Criterion = Field(default_factory=Criterion, description="What counts as sharp")
    weather: Weather | None = Field(None, description="The air, and where the lenses come from")
    cameras: tuple[Camera, ...] = Field((), description="The cameras, one table each")
    motors: tuple[Motor, ...] = Field((), description="The lens motors, one table each")
    radios: tuple[Radio, ...] = Field((), description="The radios, one table each")
    emitters: tuple[Emitter, ...] = Field((), description="Other people's senders, one table each")
    filters: tuple[Filter, ...] = Field((), description="The filters on hand, one table each")
    lenses: tuple[Lens, ...] = ()
    readings: tuple[Reading, ...] = ()
    charts: tuple[ChartTest, ...] = ()
    tstops: tuple[LightTest, ...] = ()
    morning: tuple[MorningCheck, ...] = ()
    extra: Keys = Field(default_factory=dict)
    column_order: dict[str, tuple[str, ...]] = Field(default_factory=dict)


def is_infinite(distance_m: float) -> bool:
    """True for the infinity mark."""
    return math.isinf(distance_m)
