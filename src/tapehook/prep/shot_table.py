"""Where a shot holds: the lenses of a job against stops, from the widest stop at which each could hold it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from tapehook.job.shots import Shot
from tapehook.notation import FULL_STOPS
from tapehook.prep.results import LensPrep, Prep, StopView
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shots import widest_of

Word = Literal["holds", "soft", "opens no wider"]
_SLACK = 0.999
LAST_T = 11.5


@dataclass(frozen=True, slots=True)
class LensRow:
    """One lens: the widest stop at which it holds the shot, None where none does to T22, and why it has no plan."""

    entry: LensPrep
    widest: StopView | None
    refusal: str | None

    def word(self, t_number: float) -> Word | None:
        """What holds at a stop; None where there is no plan at all."""
        if self.refusal is not None:
            return None
        opens = self.entry.widest
        if opens is not None and t_number < opens.t_number * _SLACK:
            return "opens no wider"
        return "holds" if self.widest is not None and t_number >= self.widest.t_number * _SLACK else "soft"


def stops_from(prep: Prep) -> tuple[float, ...]:
    """The whole T-stops of the table: from the widest of the job's lenses to T11."""
    widest = min((entry.widest.t_number for entry in prep.lenses if entry.widest), default=1.4)
    numbers = [float(label) for label, _ in FULL_STOPS]
    return tuple(number for number in numbers if widest * 0.8 <= number <= LAST_T)


def lens_rows(prep: Prep, shot: Shot) -> Iterator[LensRow]:
    """A row for each lens of the job, shorter focal lengths first, with the shot as it is but for the lens."""
    for entry in sorted(prep.lenses, key=lambda one: (one.lens.focal_mm or math.inf, one.lens.id)):
        other = shot.model_copy(update={"lens": entry.lens.id, "stop": None})
        try:
            yield LensRow(entry, widest_of(prep, other), None)
        except NoPlan as trouble:
            yield LensRow(entry, None, trouble.expected)
