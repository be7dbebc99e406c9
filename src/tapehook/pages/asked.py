"""What may be sent to the interface: one record for each act, with limits, and nothing beside what it names."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from tapehook.job.records import Approach, Axis, PositionUnit, System

Right = Literal["view", "edit"]
Unit = Literal["ft", "m"]
Lines = Literal["upright", "level"]


def _writable(text: str) -> str:
    """No signs that no database or file can hold."""
    if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise ValueError("text without signs that no file can hold")
    return text


Short = Annotated[str, Field(max_length=200), AfterValidator(_writable)]
Long = Annotated[str, Field(max_length=4_000), AfterValidator(_writable)]
Pasted = Annotated[str, Field(max_length=400_000), AfterValidator(_writable)]
Key = Annotated[str, Field(pattern="^[0-9a-f]{32}$", description="A key as the lists give it", examples=["0" * 32])]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=r"\S"), AfterValidator(_writable)]
Sent = Annotated[str | None, Field(max_length=64, pattern="^[A-Za-z0-9-]+$")]


class Asked(BaseModel):
    """Base of all that is sent: closed to fields it does not name."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class NewJob(Asked):
    """A job to be made."""

    name: Name
    units: System = "metric"
    shooting_stop: Short | None = None


class NewLens(Asked):
    """A lens for the kit of a job; figures as they are written, such as "50 mm", "T1.5", "2'"."""

    id: Name
    focal: Short
    stop: Short | None = None
    serial: Short | None = None
    model: Short | None = None
    camera: Short | None = None
    unit: PositionUnit = "deg"
    engraved_in: Literal["feet", "metric"] | None = None
    close_focus: Short | None = None
    step: Short | None = None
    note: Short | None = None


class FromShelf(Asked):
    """A lens of the library to be added to a job under a label."""

    lens: Key
    id: Name
    unit: PositionUnit = "deg"


class NewCamera(Asked):
    """A camera of a job, or new facts of one: what is not sent stays.

    Sizes in millimetres, photosites in micrometres.
    """

    letter: Annotated[str, Field(min_length=1, max_length=12, pattern=r"^[^\s,;/]+$"), AfterValidator(_writable)]
    name: Short | None = None
    sensor_width_mm: Short | None = None
    sensor_height_mm: Short | None = None
    photosite_um: Short | None = None
    colour: Short | None = None


class NewMotor(Asked):
    """A motor of a job, or new facts of one: what is not sent stays, and a new one drives the focus.

    Named positions of an extra motor as "0.3 ND = 20, 0.6 ND = 45": per cent of its travel.
    """

    id: Name
    camera: Short | None = None
    axis: Literal["focus", "iris", "zoom", "extra"] | None = None
    lag_ms: Short | None = None
    positions: Short | None = None


class NewReading(Asked):
    """One reading as typed: distance and position, and the way the ring came. ``sent`` names the act, once for all."""

    distance: Short
    position: Short
    approach: Approach | None = None
    taped: bool = False
    temperature: Short | None = None
    unit: Unit | None = None
    sent: Sent = None


class NewColumn(Asked):
    """A column pasted from a sheet, a line for each mark."""

    text: Pasted
    approach: Approach | None = None
    unit: Unit | None = None
    sent: Sent = None


class LensThrough(Asked):
    """What a lens is also used with: an extender and how long it is, a port, where it stands, its glass, the water.

    Lengths are as written, bare ones in millimetres; a port is "flat" or the radius of a dome.
    """

    extender: Short | None = None
    extender_length: Short | None = None
    port: Short | None = None
    port_front: Short | None = None
    port_glass: Short | None = None
    water: Literal["fresh", "sea"] | None = None


class Correction(Asked):
    """A reading put right; without distance and position it is withdrawn."""

    id: Key
    distance: Short | None = None
    position: Short | None = None
    reason: Short | None = "mistyped"


class NewChart(Asked):
    """A chart test as typed. ``lines``: those found sharpest, of an anamorphic lens; ``glass``: what stood behind."""

    distance: Short
    position: Short
    approach: Approach | None = None
    stop: Short | None = None
    camera: Short | None = None
    width: Short | None = None
    fill: Short | None = None
    focal: Short | None = None
    glass: Short | None = None
    lines: Lines | None = None
    sent: Sent = None


class SignOff(Asked):
    """A check signed off, by ``who`` where that is another than the session's name."""

    check: Annotated[str, Field(min_length=1, max_length=40, pattern="^[a-z_]+$")] = "lens"
    lens: Key | None = None
    camera: Short | None = None
    note: Long | None = None
    who: Short | None = None


class Swap(Asked):
    """Which lens a camera carries from now on; None: none."""

    camera: Short
    lens: Key | None = None


class NewShelf(Asked):
    """A shelf, in another where ``parent`` names one."""

    name: Name
    parent: Key | None = None


class OnShelf(Asked):
    """Where a lens stands."""

    shelf: Key | None = None
    pinned: bool = False


class Start(Asked):
    """The shelf where the next change of lens of a camera starts."""

    camera: Short
    shelf: Key


class Work(Asked):
    """That a lens needs work, and why."""

    needs_work: bool
    why: Short | None = None


class Serial(Asked):
    """The serial of a lens, read at last."""

    serial: Name


class JobFacts(Asked):
    """What a job is shown in and shot at."""

    units: System
    shooting_stop: Short | None = None
    was_units: System | None = None
    was_shooting_stop: Short | None = None
    """What the sender's page showed: what is no longer so is not written over. No ``was_units``: whatever it was."""


class OutOfRange(Asked):
    """A figure kept by an earlier version that is out of range now, and what it is to be; empty: nothing."""

    table: Short
    key: Short
    field: Short
    value: Short | None = None


class CopyFrom(Asked):
    """Another job whose camera builds are copied."""

    job: Key


class Pair(Asked):
    """The code shown on the laptop, and the name of whoever holds the device."""

    code: Short
    who: Short | None = None


class LetIn(Asked):
    """What the next device may do."""

    right: Right = "view"


class StripsAsked(Asked):
    """Which strips, in the query of an address; figures as they are written: 80mm, 270, T2.8."""

    lens: tuple[Key, ...] = Field(default=(), max_length=1000)
    axis: Axis = "focus"
    marks: Literal["map", "read", "deg", "percent"] = "map"
    """From the map as it holds on the shoot, or as it was read; or blank, to be marked by hand."""
    extender: Literal["", "on"] = ""
    """For the lens on the extender that it is also used with."""
    water: Literal["", "on"] = ""
    """For use under water, behind the port that it is also used behind."""
    diameter: Short = ""
    circumference: Short = ""
    rotation: Short = ""
    zero: Short = ""
    far_end: Literal["right", "left"] = "right"
    units: Literal["", "ft", "m", "both"] = ""
    stop: Short = ""
    tape: Short = ""
    paper: Literal["", "a4", "us-letter"] = ""
    radio: Literal["", "plan", "set"] = ""
    """For the full handover: no radio plan, the best one, or the channels ``ch``."""
    ch: tuple[Short, ...] = Field(default=(), max_length=60)
    """Channel of each camera in the order of letters, such as 2450:15."""


class RadioAsked(Asked):
    """A radio plan, in the query of an address: what is tried besides what the job says. Nothing is kept of it."""

    mode: Literal["plan", "judge", "keep"] = "plan"
    ch: tuple[Short, ...] = Field(default=(), max_length=60)
    """Channel of each camera in the order of letters, such as 2450:15."""
    place: tuple[Short, ...] = Field(default=(), max_length=300)
    """Places in the order of the picture, such as 4, 2.5; empty: as the job says."""
    taken: Short = ""
    more: Short = ""
    more_at: Short = ""
    scan: Annotated[str, Field(max_length=20_000)] = ""


class SwapAsked(Asked):
    """The lens that comes, and where it shows the far and the near mark, in the query of an address.

    ``far_back`` and ``near_back`` are the positions of the other way, far to near; ``more`` further marks, such as
    "3' = 222.9, 6' = 138.8".
    """

    comes: Short = ""
    far: Short = ""
    far_back: Short = ""
    near: Short = ""
    near_back: Short = ""
    more: Short = ""


class WeatherAsked(Asked):
    """The air and the lenses brought into it, as typed; a bare temperature is in ``degrees``."""

    air: Short = ""
    humidity: Short = ""
    lens: Short = ""
    time_constant: Short = ""
    later: Short = ""
    after: Short = ""
    degrees: Literal["c", "f"] = "c"


class KeptWeather(WeatherAsked):
    """The same, to be kept in the job."""


class NewMorning(Asked):
    """A check on the morning: best focus of a lens on a chart, wide open. ``date`` as 2026-11-26."""

    lens: Key
    distance: Short
    position: Short
    approach: Approach | None = None
    temperature: Short | None = None
    degrees: Literal["c", "f"] = "c"
    date: Short | None = None
    note: Short | None = None
    sent: Sent = None


class Withdrawn(Asked):
    """A measurement that no longer counts."""

    id: Key
    reason: Short | None = None


class LeftAsked(Asked):
    """The minutes there are, in the query of an address; ``narrow`` is what every live page says of its width."""

    minutes: Short = ""
    narrow: bool = False


class KeptShot(Asked):
    """A shot to be kept under a name, or taken out when it has none; ``mark`` tells the text it was made from."""

    name: Annotated[str, Field(max_length=60, pattern=r"^[\w][\w .,-]{0,59}$"), AfterValidator(_writable)]
    mark: Annotated[str | None, Field(max_length=16, pattern="^[0-9a-f]*$")] = None
    shot: dict[str, Any] | None = None
