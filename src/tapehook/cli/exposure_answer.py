"""What ``tapehook exposure`` answers: the typed texts read, and worked out in ``tapehook.prep.exposure``."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from tapehook.cli.refusals import OptionProblem, Refusal
from tapehook.job import Job, Lens
from tapehook.notation import (
    NotationError,
    parse_distance,
    parse_filter,
    parse_length,
    parse_light,
    parse_shutter,
)
from tapehook.prep.exposure import (
    DENSEST,
    EI,
    FRAME_RATE,
    METER,
    Asked,
    Exposure,
    NoExposure,
    OnHand,
    exposure_of,
    stop_for_depth,
    t_stop,
    tray_of,
    what_to_solve,
)

Parsed = TypeVar("Parsed")


class OptionReader:
    """Reads typed options and gathers everything that is wrong with them."""

    def __init__(self, typed: Mapping[str, str | None]) -> None:
        self._typed = typed
        self.problems: list[OptionProblem] = []

    def __call__(self, name: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        """The parsed text of one option; None when it was not given or cannot be read."""
        text = self._typed.get(name)
        return None if text is None else self.read(name, text, parse)

    def read(self, name: str, text: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        """The same for a text of its own."""
        try:
            return parse(text)
        except NotationError as error:
            self.problems.append(OptionProblem(option_of(name), text, error.expected, str(error)))
            return None

    def given(self, name: str) -> bool:
        """True when an option was typed."""
        return self._typed.get(name) is not None

    def refuse(self, name: str, expected: str, said: str) -> None:
        """Note what is wrong with an option, in words of its own."""
        self.problems.append(OptionProblem(option_of(name), self._typed.get(name), expected, said))

    def finish(self) -> None:
        """Raise Refusal with all that is wrong, if anything is."""
        if self.problems:
            raise Refusal(self.problems)


def option_of(name: str) -> str:
    """An option as it is typed."""
    return f"--{name.replace('_', '-')}"


def exposure_answer(
    typed: Mapping[str, str | None],
    nd: Sequence[str],
    filters: Sequence[str],
    tray: Path | None = None,
    lens: str | None = None,
    camera: str | None = None,
) -> Exposure:
    """The exposure of the texts as typed, by option.

    Raises Refusal with everything that cannot be read or solved, JobProblems where the tray's folder cannot be read.
    """
    read = OptionReader(typed)
    asked = _asked(read, typed, nd, filters)
    job = _job(read, tray, {"--lens": lens, "--camera": camera, "--depth": typed.get("depth")})
    on_hand = OnHand() if job is None else _on_hand(read, job, lens, camera)
    try:
        asked = _by_depth(read, asked, job, on_hand.lens)
        given = [name for name, text in typed.items() if text is not None]
        solved = what_to_solve(asked, [*given, "stop"] if asked.rests_on else given)
        read.finish()
        return exposure_of(asked, solved, on_hand)
    except NoExposure as trouble:
        _refuse(read, trouble)
        read.finish()
        raise


def _refuse(read: OptionReader, trouble: NoExposure) -> None:
    """What cannot be, as a problem of its option."""
    if trouble.field is not None:
        read.refuse(trouble.field, trouble.expected, trouble.said)
        return
    some = ", ".join(option_of(name) for name in trouble.said.split(", "))
    said = f"left out are {some}; leave out one only, and it is solved"
    read.problems.append(OptionProblem(None, None, trouble.expected, said))


def _asked(read: OptionReader, typed: Mapping[str, str | None], nd: Sequence[str], filters: Sequence[str]) -> Asked:
    taken = [read.read("nd", text, lambda one: parse_filter(one, bare_density=True)) for text in nd]
    taken += [read.read("filter", text, parse_filter) for text in filters]
    density, light = sum(one or 0.0 for one in taken), typed.get("light")
    if density > DENSEST:
        said = f"with all filters the density {density:.3g} is out of range, at most {DENSEST:g}"
        read.refuse("nd" if nd else "filter", "filters that let some light through", said)
    return Asked(
        read("stop", t_stop),
        read("ei", EI),
        read("fps", FRAME_RATE),
        read("shutter", parse_shutter),
        read("light", parse_light),
        density,
        bool(nd),
        read("meter", METER),
        light is None or "l" not in light.lower() or "candle" in light.lower(),
    )


def _job(read: OptionReader, tray: Path | None, needing: Mapping[str, str | None]) -> Job | None:
    """The job of a folder; what is given and needs it is refused where there is none."""
    if tray is not None:
        from tapehook.job import read_job

        return read_job(tray)
    for option, text in needing.items():
        if text is not None:
            said = "given without --tray, the job it is in"
            read.problems.append(OptionProblem(option, text, "--tray with it", said))
    return None


def _on_hand(read: OptionReader, job: Job, lens: str | None, camera: str | None) -> OnHand:
    """The lens named and the tray of the camera named, or all filters."""
    found = next((one for one in job.lenses if one.id == lens), None)
    if lens is not None and found is None:
        read.problems.append(OptionProblem("--lens", lens, "the id of a lens of lenses.csv"))
    letters = [one.letter for one in job.cameras]
    if camera is not None and camera not in letters:
        read.problems.append(OptionProblem("--camera", camera, f"a camera of the job: {', '.join(letters) or 'none'}"))
    return OnHand(found, tray_of(job.filters, camera))


def _by_depth(read: OptionReader, asked: Asked, job: Job | None, lens: Lens | None) -> Asked:
    """The same with the stop that a depth asks for, where one was given. Raises NoExposure where none gives it."""
    depth_m, distance_m = read("depth", _depth), read("distance", _distance)
    if read.given("depth") != read.given("distance"):
        missing = "depth" if read.given("distance") else "distance"
        read.refuse(missing, "both --depth and --distance", "not given: a depth holds at a distance")
    if read.given("depth") and read.given("stop"):
        read.refuse("depth", "one of --stop and --depth", "given with --stop: the one asks for the other")
    if read.given("depth") and job is not None and lens is None:
        read.refuse("depth", "--lens with it", "given without --lens, whose depth it is")
    if read.problems or depth_m is None or distance_m is None or job is None or lens is None:
        return asked
    stop, said = stop_for_depth(job, lens, depth_m, distance_m)
    return replace(asked, stop=stop, rests_on=said)


def _depth(text: str) -> float:
    metres = parse_length(text, bare_unit="m")
    if not 1e-3 <= metres <= 1e4:
        raise NotationError(text, "metres from near to far from 1 mm to 10 km, such as 40cm", (), "is out of range")
    return metres


def _distance(text: str) -> float:
    metres = parse_distance(text)
    if not 1e-2 <= metres <= 1e4:
        raise NotationError(text, "a focus distance from 1 cm to 10 km, such as 2.5m", (), "is out of range")
    return metres
