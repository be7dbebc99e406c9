"""The file of a shot, ``shots/NAME.toml``: who stands where at which moment, and whom to hold.

Places are metres on a floor plan with heights, in any frame that people and camera share; the camera's place is that
of its image plane. Keys nobody knows are left alone.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tapehook.job.problems import JobProblems, Problem, limit
from tapehook.job.records import Identifier, Letter, Name, Positive, Share
from tapehook.job.shot_files import as_floats, document_of, is_stop_pull_alone, shot_bytes
from tapehook.notation import parse_stop

LONGEST_S = 600.0
Second = Annotated[float, Field(ge=0, le=LONGEST_S)]
Spread = Annotated[float, Field(ge=0, le=1000)]
Metre = Annotated[float, Field(ge=-1e4, le=1e4)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", strict=True)


class Waypoint(_Part):
    """Where something is at a moment: x, y and height, metres."""

    at_s: Second
    place_m: Annotated[list[Metre], Field(min_length=3, max_length=3)]


class Person(_Part):
    """Somebody or something to be held: a name and a way through the shot. The place is that of the eyes.

    How far they stand from where they were drawn, one standard deviation each. Common practice, no source.
    """

    name: Name
    missed_mark_cm: Spread = 10.0
    lean_cm: Spread = 5.0
    sway_cm: Spread = 1.0
    path: Annotated[list[Waypoint], Field(min_length=1, max_length=200)]


class FocalPoint(_Part):
    """What focal length a zoom is at, at a moment, millimetres."""

    at_s: Second
    focal_mm: Annotated[float, Field(ge=1, le=5000)]


class Hold(_Part):
    """From when to when somebody must be sharp; of several, the first is the most important."""

    from_s: Second
    to_s: Second
    who: Annotated[list[Name], Field(min_length=1, max_length=20)]


class Shot(_Part):
    """One shot as its file has it; None where the job or the lens says."""

    title: Name = "Untitled shot"
    lens: Identifier
    camera: Letter | None = None
    stop: str | None = None
    frames_per_second: Annotated[float, Field(ge=1, le=240)] = 24.0
    within: Share = 1.0
    """Part of the depth that the pull may use; the rest is left for what nobody planned."""
    lag_ms: Annotated[float, Field(ge=0, le=2000)] | None = None
    monitor_delay_ms: Annotated[float, Field(ge=0, le=5000)] | None = None
    """How late the picture is that the pull is made by; None: as measured on the camera; 0: pulled by eye."""
    speed_deg_s: Positive | None = None
    acceleration_deg_s2: Positive | None = None
    shutter_deg: Annotated[float, Field(gt=0, le=360)] | None = None
    shown_at_fps: Annotated[float, Field(ge=1, le=240)] | None = None
    """The rate at which the picture is shown, where that is not the rate of the camera: off speed."""
    squeeze: Annotated[float, Field(ge=1, le=3)] = 1.0
    """How many times an anamorphic lens takes in the width that its focal length would."""
    close_up_dpt: Annotated[float, Field(gt=0, le=20)] | None = None
    front_mm: Annotated[float, Field(gt=0, le=2000)] | None = None
    """From the image plane to the close-up lens."""
    tube_mm: Annotated[float, Field(gt=0, le=500)] | None = None
    extender_on: bool = False
    """The lens stands on the extender that it is also used with; ``stop`` and focal lengths are its own."""
    focal_path: Annotated[list[FocalPoint], Field(max_length=200)] = []
    camera_path: Annotated[list[Waypoint], Field(max_length=200)] = []
    people: Annotated[list[Person], Field(min_length=1, max_length=20)]
    hold: Annotated[list[Hold], Field(max_length=200)] = []

    @property
    def length_s(self) -> float:
        """The last moment that anything names."""
        ends = [point.at_s for person in self.people for point in person.path]
        others = [*(point.at_s for point in self.camera_path), *(point.at_s for point in self.focal_path)]
        return max([*ends, *others, *(hold.to_s for hold in self.hold)])


_EXPECTED = {
    "title": 'text such as "Ada comes to the window"',
    "lens": "the id of a lens of lenses.csv",
    "camera": 'the letter of a camera, such as "A"',
    "stop": 'a T-stop such as "T2.8"',
    "frames_per_second": "a number such as 24",
    "within": "a part of the depth, such as 0.5",
    "lag_ms": "milliseconds, such as 40",
    "monitor_delay_ms": "milliseconds, such as 83, or 0 for a pull by eye",
    "speed_deg_s": "degrees of ring a second, such as 300",
    "acceleration_deg_s2": "degrees of ring a second squared, such as 3000",
    "shutter_deg": "degrees of shutter, such as 180",
    "shown_at_fps": "frames a second, such as 24",
    "squeeze": "a number from 1 to 3, such as 2",
    "close_up_dpt": "dioptres, such as 0.5",
    "front_mm": "millimetres from the image plane to the close-up lens, such as 180",
    "tube_mm": "millimetres, such as 12",
    "extender_on": "true, for the lens on its extender, or false",
    "focal_path": "tables headed [[focal_path]]",
    "focal_mm": "millimetres, such as 35",
    "camera_path": "tables headed [[camera_path]]",
    "people": "tables headed [[people]]",
    "path": "tables headed [[people.path]]",
    "hold": "tables headed [[hold]]",
    "at_s": "seconds from the start, such as 2.5",
    "from_s": "seconds from the start, such as 0",
    "to_s": "seconds from the start, such as 6",
    "place_m": "three numbers in metres, such as [1.2, 4.0, 1.65]",
    "name": 'a name such as "Ada"',
    "missed_mark_cm": "centimetres, such as 10",
    "lean_cm": "centimetres, such as 5",
    "sway_cm": "centimetres, such as 1",
    "who": 'names such as ["Ada"]',
}


def read_shot(folder: Path, name: str) -> Shot:
    """The shot ``name`` of a job folder. Raises JobProblems with everything that is wrong with its file."""
    return shot_from(*shot_bytes(folder, name))


def shots_in(texts: Mapping[str, str]) -> tuple[dict[str, Shot], list[str]]:
    """The shots in texts of their files by name, and a sentence for whatever is wrong with those not read."""
    found, wrong = {}, list[str]()
    for name, text in texts.items():
        if is_stop_pull_alone(text):
            continue
        try:
            found[name] = shot_from(text.encode("utf-8", "surrogatepass"), f"shots/{name}.toml")
        except JobProblems as trouble:
            wrong += [problem.sentence() for problem in trouble.problems]
    return found, wrong


def shot_from(data: bytes, file: str) -> Shot:
    """The shot in the bytes of a file. Raises JobProblems."""
    return shot_of(document_of(data, file), file)


def shot_of(document: Mapping[str, object], file: str) -> Shot:
    """The shot in the tables of a file. Raises JobProblems."""
    try:
        shot = Shot.model_validate(as_floats(document))
    except (ValidationError, RecursionError) as trouble:
        raise JobProblems(_misfits(file, trouble)) from None
    problems = list(_at_odds(file, shot))
    if problems:
        raise JobProblems(problems)
    return shot


def _misfits(file: str, trouble: ValidationError | RecursionError) -> Iterator[Problem]:
    if isinstance(trouble, RecursionError):
        yield Problem(file, None, None, None, "tables at most a few deep")
        return
    for error in trouble.errors(include_url=False):
        names = [part for part in error["loc"] if isinstance(part, str)]
        place = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in error["loc"])
        read = None if error["type"] == "missing" else _shown(error["input"])
        expected = _EXPECTED.get(names[-1] if names else "", "a plan of a shot") + limit(error)
        yield Problem(file, None, place.removeprefix("."), read, expected)


def _shown(value: object) -> str:
    return "a table" if isinstance(value, dict) else "a list" if isinstance(value, list) else str(value)


def _at_odds(file: str, shot: Shot) -> Iterator[Problem]:
    """What is well formed and makes no sense together."""
    if shot.stop is not None and not _t_stop(shot.stop):
        yield Problem(file, None, "stop", shot.stop, _EXPECTED["stop"])
    names = [person.name for person in shot.people]
    for at, name in enumerate(names, start=1):
        if name in names[: at - 1]:
            yield Problem(file, None, f"people[{at}].name", name, "a name of its own")
    yield from _not_rising(file, "camera_path", shot.camera_path)
    yield from _not_rising(file, "focal_path", shot.focal_path)
    for at, person in enumerate(shot.people, start=1):
        yield from _not_rising(file, f"people[{at}].path", person.path)
    yield from _idle_holds(file, shot, names)
    if shot.length_s * shot.frames_per_second < 1.0:
        yield Problem(
            file, None, None, f"{shot.length_s:g} s", "a shot of two frames or more: give a later at_s or to_s"
        )


def _t_stop(text: str) -> bool:
    try:
        return parse_stop(text).scale != "f"
    except ValueError:
        return False


def _idle_holds(file: str, shot: Shot, names: list[str]) -> Iterator[Problem]:
    """Holds that last no time, or hold nobody there is."""
    for at, hold in enumerate(shot.hold, start=1):
        if not hold.to_s > hold.from_s:
            yield Problem(file, None, f"hold[{at}].to_s", f"{hold.to_s:g}", f"more than from_s, {hold.from_s:g}")
        elif not _has_frame(shot, hold):
            expected = f"late enough for a frame at {shot.frames_per_second:g} a second"
            yield Problem(file, None, f"hold[{at}].to_s", f"{hold.to_s:g}", expected)
        for name in hold.who:
            if name not in names:
                yield Problem(file, None, f"hold[{at}].who", name, f"one of the people: {', '.join(names)}")


def _has_frame(shot: Shot, hold: Hold) -> bool:
    """True when a frame falls into the hold."""
    first = math.ceil(hold.from_s * shot.frames_per_second - 1e-9)
    return first <= (hold.to_s + 1e-9) * shot.frames_per_second


def _not_rising(file: str, place: str, path: Sequence[Waypoint | FocalPoint]) -> Iterator[Problem]:
    for at, (one, other) in enumerate(pairwise(path), start=2):
        if not other.at_s > one.at_s:
            expected = f"more than the {one.at_s:g} before it: nobody is at two places at once"
            yield Problem(file, None, f"{place}[{at}].at_s", f"{other.at_s:g}", expected)
