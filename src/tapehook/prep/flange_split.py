"""The flange of all lenses and bodies of a job: whose fault, and what to test next where the charts cannot tell."""

from collections.abc import Sequence
from itertools import zip_longest

import numpy as np

from tapehook.job.records import Job
from tapehook.lens.bodies import MOST_TOGETHER, Known, Split, Sums, next_test, split_parts
from tapehook.lens.flange import JUDGEMENT_USED, MATTERS, SURE, Cause
from tapehook.lens.taping import taping_sd_m
from tapehook.notation import format_distance
from tapehook.prep.flange import front_vergence, pupil_at
from tapehook.prep.focus import vergence_slope
from tapehook.prep.next_mark import tape_distances
from tapehook.prep.results import BodyFlange, FlangePrep, FlangesPrep, LensFlange, LensPrep
from tapehook.prep.room import optics_of

FARTHEST_M = 12.0
"""A chart is set up within this distance."""
WORTH = 0.1
"""A test that narrows what is not known by less than this part is not worth making."""

_NEEDS = {
    "no_position": "Write down the ring position at which each chart was sharpest, in the column position.",
    "no_map": "Read its marks first: without a map, nobody knows what the ring says at the charts.",
    "no_optics": "Write its focal length into lenses.csv.",
    "no_stop": "Write its T-stop into lenses.csv.",
    "no_depth": "Look at its blur floor in lenses.csv: it leaves no depth to measure by.",
    "beyond": "Look at its focal length, its stop and the rows of charts.csv.",
    "too_near": "Set the charts farther away: at the distances written down no lens of this focal length is in focus.",
}


def find_flanges(entries: Sequence[LensPrep], job: Job) -> FlangesPrep:
    """The flange of every lens with chart tests and of every body they name."""
    tested = {entry.lens.id: entry for entry in entries if entry.flange is not None}
    known = {lens_id: entry.flange for lens_id, entry in tested.items() if isinstance(entry.flange, FlangePrep)}
    named = {lens_id: one for lens_id, one in known.items() if any(one.bodies)}
    letters = _letters(named, job)
    together = _together_first(named, letters)
    split = _split(together, letters) if named else None
    numbers = {lens_id: k for k, lens_id in enumerate(together)}
    lenses = []
    for lens_id, entry in tested.items():
        found = entry.flange
        if not isinstance(found, FlangePrep):
            lenses.append(LensFlange(lens_id, None, None, "cannot_tell", _NEEDS[str(found)], together=True))
        elif split is None or lens_id not in named:
            lenses.append(_together(entry, found))
        elif lens_id in numbers:
            lenses.append(_parted(entry, found, split, numbers, letters, together))
        else:
            own = {lens_id: found}
            lenses.append(_parted(entry, found, _split(own, letters, _bodies_of(split)), {lens_id: 0}, letters, own))
    return FlangesPrep(tuple(lenses), _bodies(named, letters, split) if split else ())


def _letters(named: dict[str, FlangePrep], job: Job) -> list[str]:
    """The bodies that tests name: those of the job first, in its order."""
    used = {body for one in named.values() for body in one.bodies if body}
    listed = [camera.letter for camera in job.cameras if camera.letter in used]
    return [*listed, *sorted(used - set(listed))]


def _together_first(named: dict[str, FlangePrep], letters: Sequence[str]) -> dict[str, FlangePrep]:
    """The lenses that are split all at once: all, or of very many the first of each body in turn."""
    if len(named) <= MOST_TOGETHER:
        return named
    by_body = {letter: [lens_id for lens_id, one in named.items() if letter in one.bodies] for letter in letters}
    turns = zip_longest(*by_body.values())
    chosen = dict.fromkeys(lens_id for turn in turns for lens_id in turn if lens_id is not None)
    kept = set(list(chosen)[:MOST_TOGETHER])
    return {lens_id: one for lens_id, one in named.items() if lens_id in kept}


def _bodies_of(split: Split) -> Known:
    """What a split has told of the bodies."""
    at = slice(split.lenses, None)
    return Known(split.mean[at], split.covariance[at, at])


def _split(named: dict[str, FlangePrep], letters: Sequence[str], known: Known | None = None) -> Split:
    sums = []
    for number, one in enumerate(named.values()):
        kept = [k for k, body in enumerate(one.bodies) if body]
        bodies = np.array([letters.index(str(one.bodies[k])) for k in kept], dtype=np.intp)
        sums.append(Sums(number, bodies, one.fit.mean()[kept], one.fit.covariance()[np.ix_(kept, kept)]))
    return split_parts(sums, len(named), len(letters), known)


def limit_m(found: FlangePrep, entry: LensPrep) -> float:
    """The flange that uses a quarter of the depth of the lens at its widest stop, metres: N c / 4."""
    optics = optics_of(entry)
    assert optics is not None  # noqa: S101 - it was tested
    return MATTERS * found.stop.f_number * optics.blur_m


def _together(entry: LensPrep, found: FlangePrep) -> LensFlange:
    """Nobody wrote down the body: what the charts show is of the lens and the body together."""
    flange_m, sd_m = found.fit.flange_m()
    step = chart_to_set_up(entry, found) if found.verdict.cause == "cannot_tell" else None
    return LensFlange(entry.lens.id, flange_m, sd_m, found.verdict.cause, step, together=True)


def _parted(
    entry: LensPrep,
    found: FlangePrep,
    split: Split,
    numbers: dict[str, int],
    letters: Sequence[str],
    named: dict[str, FlangePrep],
) -> LensFlange:
    """The lens's own part, and whose fault it is where the sum is off."""
    number, limit = numbers[entry.lens.id], limit_m(found, entry)
    flange_m, sd_m = float(split.mean[number]), float(split.sd[number])
    cause: Cause = found.verdict.cause
    if cause == "cannot_tell":
        return LensFlange(entry.lens.id, flange_m, sd_m, cause, chart_to_set_up(entry, found))
    if cause != "flange":
        return LensFlange(entry.lens.id, flange_m, sd_m, cause)
    off = split.beyond(number, limit)
    bodies = [letters.index(body) for body in found.bodies if body]
    # A body's own limit is that of its most exacting lens; here it only has to account for this lens.
    blamed = [b for b in bodies if split.sum_beyond(number, b, limit) >= 0.5]
    if off >= SURE:
        return LensFlange(entry.lens.id, flange_m, sd_m, "flange")
    if off <= 1.0 - SURE and all(split.beyond(split.lenses + b, limit) >= SURE for b in blamed):
        return LensFlange(entry.lens.id, flange_m, sd_m, "fine")
    at = max(blamed or bodies, key=lambda b: split.sum_beyond(number, b, limit))
    step = _swap(entry, number, at, split, list(named), letters, named)
    return LensFlange(entry.lens.id, flange_m, sd_m, "cannot_tell", step, swap=True)


def _swap(
    entry: LensPrep,
    lens: int,
    body: int,
    split: Split,
    ids: Sequence[str],
    letters: Sequence[str],
    named: dict[str, FlangePrep],
) -> str:
    """The test that would tell whether the lens or the body is off, as a sentence."""
    tested = frozenset((k, letters.index(name)) for k, one in enumerate(named.values()) for name in one.bodies if name)
    own, here = entry.lens.id, letters[body]
    pair = next_test(split, lens, body, tested)
    if pair is None:
        if split.lenses > 1 or len(letters) > 1:
            return f"Repeat the chart tests of {own} on camera {here}, and put one more lens or body beside them."
        return f"Move {own} to another body, or put another lens on camera {here}, and find best focus there."
    if pair[0] == lens:
        return f"Move {own} to camera {letters[pair[1]]} and find best focus on the same charts there."
    return f"Put {ids[pair[0]]} on camera {here} and find best focus on the same charts there."


def _bodies(named: dict[str, FlangePrep], letters: Sequence[str], split: Split) -> tuple[BodyFlange, ...]:
    found = []
    for number, letter in enumerate(letters):
        own = {lens_id: one for lens_id, one in named.items() if letter in one.bodies}
        limit = min(float(MATTERS * (one.charts.room_dpt * one.charts.focal_m**2).min()) for one in own.values())
        at = split.lenses + number
        off = split.beyond(at, limit)
        found.append(BodyFlange(letter, float(split.mean[at]), float(split.sd[at]), tuple(own), off))
    return tuple(found)


def chart_to_set_up(entry: LensPrep, found: FlangePrep) -> str:
    """The chart that would narrow most what is not known of flange, scale and tape, as a sentence.

    Look-ahead as for marks: a test with the row x of the design and the variance r takes P x x'P/(x'Px + r) off the
    covariance P of the parameters; counted are the shares of the depth that each can use.
    """
    optics, lens_map = optics_of(entry), entry.focus_map
    assert optics is not None and lens_map is not None  # noqa: S101, PT018 - it was tested
    candidates = tape_distances(entry.system, lens_map.near_value)
    candidates = candidates[candidates <= FARTHEST_M]
    focal_m = found.focals_m[0]
    q = front_vergence(candidates, focal_m, pupil_at(focal_m, optics))
    candidates, q = candidates[np.isfinite(q)], q[np.isfinite(q)]
    width = found.stop.f_number * optics.blur_m / focal_m**2
    covariance, bodies = found.fit.covariance(), found.fit.bodies
    rows = np.zeros((q.size, covariance.shape[0]))
    rows[:, 0] = -1.0 / focal_m**2
    rows[:, bodies], rows[:, bodies + 1] = q, -(q**2)
    own = (lens_map.position(candidates)[1] / vergence_slope(lens_map, optics, candidates)) ** 2
    noise = (JUDGEMENT_USED * width) ** 2 / 2.0 + (q * q * taping_sd_m(candidates)) ** 2 + own
    top = float(found.charts.q_dpt.max())
    size = np.zeros(covariance.shape[0])
    size[:bodies] = 1.0 / (focal_m**2 * width)
    size[bodies], size[bodies + 1] = top / width, top**2 / width
    reach = rows @ covariance
    gain = ((reach * size) ** 2).sum(axis=1) / ((reach * rows).sum(axis=1) + noise)
    best = int(np.argmax(gain))
    if gain[best] < WORTH * float((np.diag(covariance) * size**2).sum()):
        return (
            "More charts tell little here: read more marks of the ring both ways first, at infinity and at close focus."
        )
    where = format_distance(float(candidates[best]), entry.system)
    return f"Find best focus on a chart taped at {where}, once each way, at {found.stop.text}."
