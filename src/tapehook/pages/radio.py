"""What the page Radio shows: a plan for what the job says and what is tried besides, with its pictures."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tapehook.job import Emitter, Job, JobProblems
from tapehook.job.radio_scans import read_scan
from tapehook.notation.number import parse_number
from tapehook.pages.asked import RadioAsked
from tapehook.pages.typed import Misread, Reader
from tapehook.picture.lot import Spot, lot
from tapehook.picture.spectrum import spectrum
from tapehook.prep.radio import BAND_OF, TAKEN_EXPECTED, RadioPrep, Taken, air_of, plan_radio
from tapehook.prep.radio_as_json import link_as_json, network_of, next_best_as_json, reach_as_json, transmitters
from tapehook.prep.radio_findings import cautions, radio_findings
from tapehook.prep.radio_pictures import bands_of, lot_of, spots_of
from tapehook.radio.air import Place
from tapehook.radio.channels import FOCUS_STANDARDS
from tapehook.radio.links import links_of, reaches
from tapehook.radio.scan import Scan, scan_of

WIDE, NARROW = (660.0, 340.0), 330.0
"""Points: the pictures of a laptop, and how wide those of a phone are."""
_PLACE_EXPECTED = "x and y in metres, such as 4, 2.5"
_MORE_EXPECTED = "a frequency in MHz such as 2450, or Wi-Fi 6"
_MOST_M = 1e5
_WIFI = re.compile(r"\s*wi-?fi\s*(\d{1,2})\s*", re.IGNORECASE)
_PROBLEM_WORDS = "the scan"


@dataclass(frozen=True, slots=True)
class RadioSheet:
    """The plan, None where there is none, with the reasons; ``places`` are the spots as the job has them."""

    prep: RadioPrep | None
    places: tuple[Spot, ...] = ()
    wrong: tuple[str, ...] = ()


def sheet_of(job: Job, asked: RadioAsked) -> RadioSheet:
    """The plan asked for, or in words why there is none."""
    try:
        spots = tuple(spots_of(air_of(job)))
    except JobProblems as trouble:
        return RadioSheet(None, (), tuple(one.sentence() for one in trouble.problems))
    try:
        return RadioSheet(_planned(job, spots, asked), spots)
    except (JobProblems, Misread) as trouble:
        return RadioSheet(None, spots, tuple(one.sentence() for one in trouble.problems))


def _planned(job: Job, spots: Sequence[Spot], asked: RadioAsked) -> RadioPrep:
    """The plan for the fields. Raises Misread and JobProblems."""
    reader = Reader()
    moved: dict[str, Place] = {}
    for spot, text in zip(spots, asked.place, strict=False):
        place = reader.take(f"place of {_named(spot)}", text, _place, _PLACE_EXPECTED)
        if place is not None:
            moved[spot.key] = place
    taken = [one for text in asked.taken.split(",") if (one := reader.take("taken", text, Taken.read, TAKEN_EXPECTED))]
    more = reader.take("what if", asked.more, _emitter, _MORE_EXPECTED)
    at = reader.take("place of what if", asked.more_at, _place, _PLACE_EXPECTED)
    channels = _channels(job, asked, reader)
    reader.done()
    if more is not None:
        where = {} if at is None else {"x_m": at.x_m, "y_m": at.y_m}
        job = job.model_copy(update={"emitters": (*job.emitters, more.model_copy(update=where))})
    given: dict[str, Any] = {"keep": channels} if asked.mode == "keep" and channels else {}
    if asked.mode == "judge" and channels:
        given = {"judge": channels}
    return plan_radio(job, taken=taken, scan=_scan(asked.scan), moved=moved, solver=False, file="the page", **given)


def _named(spot: Spot) -> str:
    return {"camera": f"camera {spot.label}", "hand": f"hand unit {spot.label}"}.get(spot.kind, spot.label)


def _place(text: str) -> Place:
    """From "4, 2.5". Raises ValueError."""
    parts = [one for one in re.split(r"[,;\s]+", text.strip()) if one]
    if len(parts) != 2:
        raise ValueError(_PLACE_EXPECTED)
    x, y = (parse_number(one) for one in parts)
    if not (abs(x) <= _MOST_M and abs(y) <= _MOST_M):
        raise ValueError(_PLACE_EXPECTED)
    return Place(x, y)


def _emitter(text: str) -> Emitter:
    """Somebody who might switch on. Raises ValueError."""
    wifi = _WIFI.fullmatch(text)
    if wifi:
        number = int(wifi[1])
        if not 1 <= number <= 14:
            raise ValueError(_MORE_EXPECTED)
        return Emitter(id=f"what if: Wi-Fi {number}", kind="wifi", wifi_channel=number)
    at = Taken.read(text)
    middle, width = (at.low_mhz + at.high_mhz) / 2, max(at.high_mhz - at.low_mhz, 2.0)
    return Emitter(id=f"what if: {at.title}", centre_mhz=middle, width_mhz=min(width, 1000.0))


def _channels(job: Job, asked: RadioAsked, reader: Reader) -> dict[str, tuple[str, int]]:
    letters = sorted({radio.camera for radio in job.radios if radio.camera})
    found = {}
    for letter, text in zip(letters, asked.ch, strict=False):
        channel = reader.take(f"channel of {letter}", text, _channel, "a band and a channel such as 2450:15")
        if channel is not None:
            found[letter] = channel
    return found


def _channel(text: str) -> tuple[str, int]:
    band, _, number = text.strip().partition(":")
    if band not in FOCUS_STANDARDS or not number.isascii() or not number.isdigit() or len(number) > 3:
        raise ValueError(text)
    return band, int(number)


def _scan(text: str) -> Scan | None:
    return scan_of(read_scan(text.encode("utf-8", "replace"), _PROBLEM_WORDS)) if text.strip() else None


def planned_channels(job: Job, asked: RadioAsked) -> dict[str, tuple[str, int]]:
    """Band and channel number of each camera that has one in the plan asked for; empty where there is none."""
    prep = sheet_of(job, asked).prep
    return {} if prep is None else {k: (BAND_OF[one.standard], one.number) for k, one in prep.plan.channels.items()}


def shown(sheet: RadioSheet, asked: RadioAsked) -> dict[str, Any]:
    """What the template shows of a plan."""
    prep = sheet.prep
    base = {"wrong": sheet.wrong, "asked": asked, "plan": None, "cautions": []}
    if prep is None:
        return base
    plan, links = prep.plan, links_of(prep.air, prep.plan.channels)
    return {
        **base,
        "plan": plan,
        "region": prep.job.region,
        "judged": prep.judged,
        "cameras": [_camera(prep, network.letter) for network in prep.air.networks],
        "links": [(letter, link_as_json(network_of(prep, letter), one)) for letter in links for one in links[letter]],
        "reach": [
            (letter, reach_as_json(one))
            for letter, channel in sorted(plan.channels.items())
            for one in reaches(prep.air, channel, links[letter])
            if one.model == (prep.air.surroundings)
        ],
        "next_best": next_best_as_json(prep),
        "bands": _bands(prep),
        "lots": _lots(prep),
        "transmitters": transmitters(prep),
        "effects": prep.job.fired_effects,
        "findings": radio_findings(prep),
        "cautions": cautions(prep),
        "assumptions": prep.assumptions,
    }


def _camera(prep: RadioPrep, letter: str) -> dict[str, Any]:
    """A camera's row, with the channels it may choose from; one that is not offered stands there as it is."""
    own, back = prep.plan.channels.get(letter), prep.plan.fallback.get(letter)
    offered = list(prep.permits[letter])
    if own is not None and own not in offered:
        offered.append(own)
    return {
        "letter": letter,
        "own": own,
        "value": "" if own is None else f"{BAND_OF[own.standard]}:{own.number}",
        "margin_db": prep.plan.margin_db.get(letter),
        "back": "none is free" if back is None else f"{back.number} ({back.centre_mhz:g} MHz)",
        "permit": prep.permits[letter][own].wording if own in prep.permits[letter] else "not offered",
        "options": [
            (
                f"{BAND_OF[one.standard]}:{one.number}",
                one.centre_mhz,
                f"{one.number} at {BAND_OF[one.standard]} MHz, {one.centre_mhz:g} MHz",
            )
            for one in offered
        ],
    }


def _bands(prep: RadioPrep) -> list[dict[str, str]]:
    found = []
    for band, one in bands_of(prep):
        title = f"Who sends at {band} MHz"
        wide = spectrum(one, width=WIDE[0], height=190.0, title=title)
        found.append({"band": band, "wide": wide, "narrow": spectrum(one, width=NARROW, height=190.0, title=title)})
    return found


def _lots(prep: RadioPrep) -> dict[str, str]:
    spots, links = lot_of(prep)
    title = "The lot from above"
    return {
        "wide": lot(spots, links, width=WIDE[0], height=WIDE[1], title=title),
        "narrow": lot(spots, links, width=NARROW, height=NARROW, title=title),
    }
