"""What stands twice in a job: a serial on two lenses, labels that differ in nothing one sees, a list pasted twice."""

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence

from tapehook.finding import Finding
from tapehook.job.records import Job, Lens, Reading
from tapehook.prep.basis import lens_title
from tapehook.prep.wording import Maker

FEWEST_ROWS = 6
"""So many rows alike one by one do not come by chance: positions scatter by a few steps of a read-out."""


def double_findings(job: Job) -> Iterator[Finding]:
    """Findings on what stands twice, each once, in the order of the lenses."""
    for lenses in _alike(job.lenses, lambda lens: (lens.serial or "").casefold(), lens_kind):
        yield Finding(
            "lens.serial_twice",
            "watch",
            "job",
            f"Serial {lenses[0].serial} is on {_and(lens.id for lens in lenses)}: one of them was misread, "
            "or one lens is listed twice.",
            "Read the serials off the barrels; a map belongs to one copy.",
        )
    for lenses in _alike(job.lenses, _seen, lambda _: ()):
        yield Finding(
            "lens.labels_alike",
            "watch",
            "job",
            f"The labels {_and(lens.id for lens in lenses)} look the same, and are two lenses.",
            "Give one of them another label, in all tables.",
        )
    yield from _pasted_twice(job)


def lens_kind(lens: Lens) -> object:
    """What two lenses of one serial must share to be taken for one: makers count their serials on their own."""
    return (lens.focal_mm, lens.focal_min_mm, (lens.model or "").casefold())


def _alike(
    lenses: Sequence[Lens], name: Callable[[Lens], object], kind: Callable[[Lens], object]
) -> Iterator[list[Lens]]:
    groups: dict[object, list[Lens]] = {}
    for lens in lenses:
        if name(lens):
            groups.setdefault((name(lens), kind(lens)), []).append(lens)
    yield from (group for group in groups.values() if len(group) > 1)


def _seen(lens: Lens) -> str:
    """A label as the eye takes it: small letters, without spaces and signs that do not show."""
    text = unicodedata.normalize("NFKC", lens.id).casefold()
    return "".join(sign for sign in text if sign.isprintable() and not sign.isspace())


def _and(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}"


def _pasted_twice(job: Job) -> Iterator[Finding]:
    rows: dict[str, list[tuple[object, ...]]] = {}
    for reading in job.readings:
        rows.setdefault(reading.lens_id, []).append(_row(reading))
    for lens in job.lenses:
        own = rows.get(lens.id, [])
        half = len(own) // 2
        if half >= FEWEST_ROWS and own[:half] == own[half:]:
            yield Maker(lens, lens_title(lens))(
                "map.pasted_twice",
                "watch",
                f"Its {len(own)} readings are {half} that stand twice, row for row: as a list pasted twice they make "
                "the map look surer than it is.",
                "Take the second half out, unless the lens really was read twice over.",
            )


def _row(reading: Reading) -> tuple[object, ...]:
    return (reading.axis, reading.value, reading.position, reading.approach, reading.temperature_c)
