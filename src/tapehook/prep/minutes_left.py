"""Minutes left: the outstanding tests of the whole kit, by the share of depth each can win in a minute."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, Literal

from tapehook.lens.bodies import SOUND_SD_M
from tapehook.lens.flange import JUDGEMENT_USED
from tapehook.lens.map import Z95
from tapehook.prep.focus import vergence_slope
from tapehook.prep.next_mark import mark_words, next_advice
from tapehook.prep.results import BudgetView, FlangePrep, LensPrep, Prep
from tapehook.prep.room import optics_of

MINUTES = {"map": 10.0, "ways": 3.0, "flange": 6.0, "tape": 2.0, "read": 0.5, "read_again": 0.5}
"""How long each test takes two people who have done it before. Common practice, no source."""
MOST = 2.0
"""What uses more of the depth than this is as soft as what uses twice of it: nothing is won by less of it."""
PAIRS = 4
"""Marks read the other way that tell the play."""
CHARTS = 6
"""Charts found sharp that tell the flange: three distances, both ways."""

Kind = Literal["map", "ways", "flange", "mark"]


@dataclass(frozen=True, slots=True)
class OpenTest:
    """A test not yet made: on which lens, what to do, how long it takes, and what it takes off the depth used.

    ``used_before`` and ``used_after`` are fractions of the depth at ``stop``, 95 % figures; ``assumed`` when the share
    before is what is usual, as nobody measured it.
    """

    lens_id: str
    title: str
    kind: Kind
    what: str
    minutes: float
    used_before: float
    used_after: float
    stop: str
    assumed: bool

    @property
    def won_per_minute(self) -> float:
        """Share of the depth it takes away in a minute."""
        return (min(self.used_before, MOST) - min(self.used_after, MOST)) / self.minutes


def open_tests(prep: Prep, minutes: float | None = None) -> tuple[OpenTest, ...]:
    """Outstanding tests, most won per minute first; only as many as fit into ``minutes`` where that is given.

    A longer test that does not fit is passed over for a shorter one that does.
    """
    usual = _usual_share(prep)
    found = [test for entry in prep.lenses for test in _of_lens(entry, prep, usual) if test.won_per_minute > 0]
    found.sort(key=lambda test: (-test.won_per_minute, test.lens_id, test.kind))
    if minutes is None:
        return tuple(found)
    fitting, left = [], minutes
    for test in found:
        if test.minutes <= left:
            fitting.append(test)
            left -= test.minutes
    return tuple(fitting)


def _view(entry: LensPrep) -> BudgetView | None:
    return entry.budget("shooting") or entry.budget("widest")


def _usual_share(prep: Prep) -> float:
    """What the lenses of this job that have a map use, by the median; half the depth where none has one."""
    shares = [view.budget.worst_own for entry in prep.lenses if (view := _view(entry)) is not None]
    return median(shares) if shares else 0.5


def _of_lens(entry: LensPrep, prep: Prep, usual: float) -> Iterator[OpenTest]:
    stop = entry.shooting or entry.widest

    def test(
        kind: Kind, what: str, minutes: float, before: float, after: float, text: str, *, assumed: bool
    ) -> OpenTest:
        return OpenTest(entry.lens.id, entry.title, kind, what, minutes, before, after, text, assumed)

    if entry.focus_map is None or not entry.focus_map.monotone:
        text = stop.text if stop else prep.shooting_stop_text or "its widest stop"
        what = "Read its focus scale, some twelve marks both ways"
        yield test("map", what, MINUTES["map"], MOST, usual, text, assumed=True)
        return
    view = _view(entry)
    if view is None:
        return
    play = _play(entry, view)
    if play is not None:
        what = "Read four marks the other way too"
        yield test("ways", what, MINUTES["ways"], *play, view.stop.text, assumed=True)
    flange = _flange(entry, view)
    if flange is not None:
        what = "Find best focus on charts at three distances, both ways"
        yield test("flange", what, MINUTES["flange"], *flange, view.stop.text, assumed=True)
    advice = next_advice(entry, prep.job, most=1)
    for mark in advice.marks:
        if mark.used_before is not None and mark.used_after is not None and advice.stop is not None:
            scale = advice.stop.f_number / view.stop.f_number
            shares = (mark.used_before * scale, mark.used_after * scale)
            what = f"{mark_words(mark, entry.system)}, both ways"
            yield test("mark", what, MINUTES[mark.how], *shares, view.stop.text, assumed=False)


def _play(entry: LensPrep, view: BudgetView) -> tuple[float, float] | None:
    """What an assumed play takes, and what is left once four marks are read both ways; None where it was measured.

    The mean difference of k pairs has the sd sigma sqrt(2/k); half of it is what the centre is off.
    """
    lens_map, optics = entry.focus_map, optics_of(entry)
    if lens_map is None or optics is None or entry.play is not None:
        return None
    before = next(share for term, share in view.budget.at_worst() if term.name == "backlash")
    at_m, width = (float(a[view.budget.worst]) for a in (view.budget.distance_m, view.budget.half_width_dpt))
    centre = Z95 * lens_map.reading_noise * (2.0 / PAIRS) ** 0.5 / 2.0
    after = centre / float(vergence_slope(lens_map, optics, at_m)[0]) / width
    return before, min(before, after)


def _flange(entry: LensPrep, view: BudgetView) -> tuple[float, float] | None:
    """What lens and body may be off by as a rule, and what six charts leave of that; None where charts tell."""
    optics = optics_of(entry)
    if isinstance(entry.flange, FlangePrep) or optics is None or not optics.blur_m > 0:
        return None
    before = Z95 * SOUND_SD_M * 2.0**0.5 / (view.stop.f_number * optics.blur_m)
    widest = entry.widest or view.stop
    after = Z95 * JUDGEMENT_USED * widest.f_number / view.stop.f_number / CHARTS**0.5
    return (before, after) if after < before else None


def not_tested(prep: Prep) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What nobody tested, in words, with the ids of the lenses: for the cover of the handover. Empty kinds are out.

    The names of all lenses stand there only where it is fewer than all: "all lenses" is said by an empty tuple.
    """
    kinds: list[tuple[str, list[str]]] = [
        ("Focus not mapped", [one.lens.id for one in prep.lenses if one.focus_map is None]),
        ("Read one way only", [one.lens.id for one in prep.lenses if one.one_way]),
        ("Infinity not read", _with_code(prep, "map.no_infinity")),
        ("Close focus not read", _with_code(prep, "map.no_close_focus")),
        ("Flange not tested on charts", [one.lens.id for one in prep.lenses if one.flange is None]),
        ("Chart tests that say nothing", [one.lens.id for one in prep.lenses if isinstance(one.flange, str)]),
        ("Transmission not measured", [one.lens.id for one in prep.lenses if not one.transmission_known]),
        ("Serial not read", [one.lens.id for one in prep.lenses if one.lens.serial is None]),
    ]
    every = len(prep.lenses)
    return tuple((what, () if len(ids) == every else tuple(ids)) for what, ids in kinds if ids)


def _with_code(prep: Prep, code: str) -> list[str]:
    return [entry.lens.id for entry in prep.lenses if any(finding.code == code for finding in entry.findings)]


def left_as_json(tests: Sequence[OpenTest], prep: Prep) -> dict[str, Any]:
    """The shape of ``tapehook left --json``: shares as fractions, minutes."""
    return {
        "minutes": sum(test.minutes for test in tests),
        "tests": [
            {
                "lens": test.lens_id,
                "kind": test.kind,
                "what": test.what,
                "minutes": test.minutes,
                "stop": test.stop,
                "depth_used_before": test.used_before,
                "depth_used_after": test.used_after,
                "won_per_minute": test.won_per_minute,
                "assumed": test.assumed,
            }
            for test in tests
        ],
        "not_tested": [
            {"what": what, "lenses": list(ids) or [one.lens.id for one in prep.lenses]}
            for what, ids in not_tested(prep)
        ],
    }
