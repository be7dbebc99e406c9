"""Undo at the bench: what was done last to the readings of a lens, found in the records themselves.

Nothing is forgotten: an undo is a correction like any other, with a reason of its own. So what is left to undo follows
from the history, for any browser and after any pause: each act goes on a pile, each undo takes one off.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from tapehook.book.measuring import Correction, Measurement

UNDONE = "undone"
"""The reason of a correction that takes an act back."""


@dataclass(frozen=True, slots=True)
class LastAct:
    """What an undo has to take back.

    ``added``: measurements in force that came with it, to be withdrawn. ``changed``: the one in force and what it was
    before. ``gone``: one that was withdrawn, to be written again.
    """

    added: tuple[Measurement, ...] = ()
    changed: tuple[Measurement, Measurement] | None = None
    gone: Measurement | None = None


def last_act(
    everything: Sequence[Measurement], corrections: Sequence[Correction], of_folder: Collection[bytes]
) -> LastAct | None:
    """The act on top of the pile; None when there is none.

    ``everything`` ever written of the lens in its job, ``corrections`` oldest first, ``of_folder`` the fingerprints
    that came with a folder, which are no act at the bench.
    """
    by_id = {one.id: one for one in everything}
    corrections = [one for one in corrections if one.old_id in by_id]  # others belong to other piles
    pile: list[tuple[str, object]] = []
    again: dict[bytes, Measurement] = {}  # what was withdrawn, and what an undo wrote in its place
    for _, event in sorted(_events(everything, corrections, of_folder), key=lambda pair: pair[0]):
        if isinstance(event, Correction):
            if event.reason == UNDONE:
                pile = pile[:-1]
            else:
                pile.append(("corrected", event))
        elif pile and (undone := _writes_again(pile[-1], event, by_id)):
            again[undone] = event[0]
            pile.pop()
        else:
            pile.append(("added", event))
    return _of(pile[-1], by_id, corrections, again) if pile else None


def _events(
    everything: Iterable[Measurement], corrections: Iterable[Correction], of_folder: Collection[bytes]
) -> list[tuple[tuple[str, int, bytes], Correction | tuple[Measurement, ...]]]:
    """Acts with their moments: measurements of one writing together, and corrections.

    The withdrawals of several readings at once, as when a column is undone, are one act: the first of them stands for
    all.
    """
    put_in = {correction.new_id for correction in corrections}
    groups: dict[bytes, list[Measurement]] = {}
    for one in everything:
        if one.id not in put_in and one.fingerprint not in of_folder:
            groups.setdefault(one.entry_id, []).append(one)
    events: list[tuple[tuple[str, int, bytes], Correction | tuple[Measurement, ...]]] = [
        ((some[0].written_at, 0, entry_id), tuple(some)) for entry_id, some in groups.items()
    ]
    firsts: dict[bytes, Correction] = {}
    for correction in corrections:
        firsts.setdefault(correction.entry_id, correction)
    events += [((one.written_at, 1, one.entry_id), one) for one in firsts.values()]
    return events


def _writes_again(
    top: tuple[str, object], event: tuple[Measurement, ...], by_id: Mapping[bytes, Measurement]
) -> bytes | None:
    """What was withdrawn just before, where a measurement only writes it again: that was an undo."""
    kind, was = top
    if kind != "corrected" or not isinstance(was, Correction) or was.new_id is not None or len(event) != 1:
        return None
    return was.old_id if by_id[was.old_id].data == event[0].data else None


def _of(
    top: tuple[str, object],
    by_id: Mapping[bytes, Measurement],
    corrections: Sequence[Correction],
    again: Mapping[bytes, Measurement],
) -> LastAct | None:
    """The act with what is in force of it today."""
    _, event = top
    after = {correction.fingerprint: correction for correction in corrections}
    if isinstance(event, Correction):
        old = by_id[event.old_id]
        if event.new_id is None:
            return LastAct(gone=old)
        now = _in_force(by_id[event.new_id], after, by_id, again)
        return LastAct(changed=(now, old)) if now is not None else None
    assert isinstance(event, tuple)  # noqa: S101 - there are two kinds of events
    found = [_in_force(one, after, by_id, again) for one in event]
    return LastAct(added=tuple(one for one in found if one is not None))


def _in_force(
    one: Measurement,
    after: Mapping[bytes, Correction],
    by_id: Mapping[bytes, Measurement],
    again: Mapping[bytes, Measurement],
) -> Measurement | None:
    """What stands in the place of a measurement today, itself if nothing does; None when it was withdrawn."""
    seen: set[bytes] = set()
    while one.fingerprint in after and one.fingerprint not in seen:
        seen.add(one.fingerprint)
        new = by_id.get(after[one.fingerprint].new_id or b"") or again.get(one.id)
        if new is None:
            return None
        one = new
    return one
