"""The full handover as a PDF: cover, contents, sheets for those who take over, cameras, lenses, strips at 1:1."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from tapehook.finding import Finding
from tapehook.handover.compacting import compacted
from tapehook.handover.glyphs import all_printable, printable
from tapehook.handover.handed_on import MOST_QUIRKS, MOST_SHOTS, Missing, page_lines, quirk_rows, shot_rows
from tapehook.handover.pdf_data import pack_data
from tapehook.handover.pdf_words import (
    cameras_in_column,
    finding_words,
    lens_facts,
    name_of,
    serial_in_column,
    share_in_column,
    state_of,
)
from tapehook.handover.photo_sheets import photo_sheets
from tapehook.handover.photos import ConditionPhotos
from tapehook.handover.qr import qr_picture
from tapehook.handover.radio_sheets import can_be_planned, radio_data
from tapehook.handover.shot_sheets import shot_pages
from tapehook.handover.signed_words import initials
from tapehook.handover.stop_pull_sheets import stop_pull_pages
from tapehook.handover.strips import (
    BEFORE_TRUST,
    MARGIN_MM,
    SHOWN_DEG,
    SHOWN_MM,
    PrintedStrip,
    printed_strip,
    strip_data,
    unsized,
)
from tapehook.handover.typesetting import Paper, set_pdf, unscaled
from tapehook.job.shots import Shot
from tapehook.job.signed import SignedOff
from tapehook.job.stop_pulls import StopPullPlan
from tapehook.job.takes import ShotTold
from tapehook.picture.lettering import shortened, text_width
from tapehook.prep import LensPrep, Prep
from tapehook.prep.audit import audit_rows
from tapehook.prep.minutes_left import not_tested
from tapehook.prep.strips import LensStrip, StripWish, Units, lens_strip
from tapehook.radio.channels import FOCUS_STANDARDS, channel
from tapehook.strip import Ring, StripRefusal

MOST_DAY_LENSES, MOST_DAY_FINDINGS, MOST_DAY_CAMERAS = 26, 6, 4
"""What a day player's page takes; of more lenses those that need care come first."""
_FREE_LINES: dict[Paper, int] = {"a4": 3, "us-letter": 0}
"""Lines of quirks and shots that a full page still has room for; of more, each takes over one row of a lens."""
_MESSAGE_SIGNS = 180
_LISTED = 400
_NAME_ROOM, _SERIAL_ROOM, _INDEX_ROOM = 76.0, 64.0, 150.0


@dataclass(frozen=True, slots=True)
class PackWish:
    """What a full handover is to hold besides what was prepared.

    ``diameter_mm`` is the focus ring's where lenses.csv does not say it; ``url`` leads to the pocket page on the shared
    pages and is printed as a QR code. ``signed`` stands on the cover, ``channels`` (a camera's band and channel number)
    on the pages of the cameras. ``shots`` stand on the day player's page, ``missing_photos`` (lens and name) with their
    lenses; ``photos`` that are there have pages of their own. ``plans`` of shots by name have a page each,
    ``plans_unread`` says what is wrong with others.
    """

    paper: Paper = "a4"
    diameter_mm: float | None = None
    left_handed: bool = False
    units: Units | None = None
    url: str | None = None
    signed: tuple[SignedOff, ...] = ()
    channels: Mapping[str, tuple[str, int]] = field(default_factory=dict)
    shots: tuple[ShotTold, ...] = ()
    missing_photos: Missing = ()
    photos: ConditionPhotos = field(default_factory=ConditionPhotos)
    plans: Mapping[str, Shot] = field(default_factory=dict)
    plans_unread: tuple[str, ...] = ()
    stop_pulls: Mapping[str, StopPullPlan] = field(default_factory=dict)
    """Stop pulls by the name of their shot, a page each."""


@dataclass(frozen=True, slots=True)
class PackStrips:
    """The strips of a pack: ``made`` at 1:1, and ``in_proportion`` where the size or the turn of the ring is not known.

    ``refused`` has a sentence for each lens that has none at 1:1.
    """

    made: tuple[LensStrip, ...]
    in_proportion: tuple[LensStrip, ...]
    refused: tuple[tuple[str, str], ...]


def pack_strips(prep: Prep, wish: PackWish) -> PackStrips:
    """A focus strip for each lens whose map allows one; where the ring is not known, in proportion."""
    return ring_strips(prep, wish, unknown=True)


def ring_strips(prep: Prep, wish: PackWish, *, unknown: bool = False) -> PackStrips:
    """A focus strip for each lens whose ring is known; ``unknown`` draws the others in proportion."""
    made: list[LensStrip] = []
    shown: list[LensStrip] = []
    refused: list[tuple[str, str]] = []
    for entry in prep.lenses:
        diameter = entry.lens.ring_diameter_mm or wish.diameter_mm
        if diameter is None and not unknown:
            continue
        try:
            strip = lens_strip(entry, _wish(diameter or SHOWN_MM, None, wish), text_width)
            if diameter is None:
                shown.append(strip)
                refused.append((entry.lens.id, "the diameter of its focus ring is not given (ring_diameter_mm)"))
            else:
                made.append(strip)
        except StripRefusal as reason:
            refused.append((entry.lens.id, str(reason)))
            if unknown and reason.code == "turn_unknown":
                shown.append(lens_strip(entry, _wish(SHOWN_MM, SHOWN_DEG, wish), text_width))
    return PackStrips(tuple(made), tuple(shown), tuple(refused))


def _wish(diameter_mm: float, rotation_deg: float | None, wish: PackWish) -> StripWish:
    ring = Ring(math.pi * diameter_mm, rotation_deg, left_handed=wish.left_handed)
    return StripWish(ring, units=wish.units)


def render_pack(prep: Prep, wish: PackWish, strips: PackStrips) -> bytes:
    """The PDF; equal bytes for equal input. It asks to be printed unscaled, for its strips.

    Tagged for reading aloud (PDF/UA-1). Raises TypesettingError when the typesetter fails or warns.
    """
    data = pack_data(prep, wish.paper, wish.signed)
    made = {one.lens_id: one for one in strips.made}
    printed = [printed_strip(prep.lens(one.lens_id), one) for one in strips.made]
    at = {one.lens_id: index for index, one in enumerate(strips.made)}
    for entry, lens in zip(prep.lenses, data["lenses"], strict=True):
        lens["strip"] = at.get(entry.lens.id)
        lens["lines"] = all_printable(page_lines(entry, wish.missing_photos))
        lens["facts"].append(("strip", f"ø {_across(made[entry.lens.id])}" if entry.lens.id in made else "none"))
    photos, files = photo_sheets(prep, wish.photos, wish.missing_photos)
    data["more"] = _more(prep, wish, strips, printed, photos)
    then = ("pack_radio.typ", "pack_shots.typ", "pack_stops.typ", "pack_photos.typ", "pack_more.typ")
    return compacted(unscaled(set_pdf("pack.typ", data, tagged=True, then=then, files=files)))


def _across(made: LensStrip) -> str:
    return f"{made.strip.round_mm / math.pi:.4g} mm"


def _more(
    prep: Prep, wish: PackWish, strips: PackStrips, printed: Sequence[PrintedStrip], photos: dict[str, Any] | None
) -> dict[str, Any]:
    """What pack_more.typ prints. Words are made printable here, pictures left whole."""
    twins = [finding for finding in prep.findings if finding.code.startswith(("twin", "twins"))]
    plans = shot_pages(prep, wish.plans, list(wish.plans_unread))
    stops = stop_pull_pages(prep, wish.stop_pulls, wish.plans)
    names = [
        ("cover", "What must be acted on"),
        ("day", "For the day player"),
        ("checklist", "Prep checklist, signed off"),
        ("technician", "For the lens technician"),
        *([("twins", "Twins and borrowed maps")] if twins else []),
        *([("cameras", "Cameras")] if prep.cameras else []),
        *([("radio", "Radio")] if can_be_planned(prep.job, wish.channels) else []),
        *([("shots", "Shots")] if plans else []),
        *([("stops", "Stop pulls")] if stops else []),
        *([("condition", "Condition, with photos")] if photos else []),
        ("strips", "Strips"),
    ]
    words = {
        "parts": [{"name": name, "title": title} for name, title in names],
        "lens_index": [_short(entry.title, _INDEX_ROOM) for entry in prep.lenses],
        "day": _day(prep, wish),
        "checklist": _checklist(prep, strips, wish),
        "technician": _technician(prep),
        "twins": [{**finding_words(finding), "lens": None} for finding in twins],
        "kits": [_kit(camera.camera.letter, prep, wish) for camera in prep.cameras],
        "strip_note": BEFORE_TRUST,
        "not_tested": [f"{what}: {', '.join(ids) if ids else 'all lenses'}." for what, ids in not_tested(prep)],
        "no_strips": [f"{prep.lens(lens_id).title}: {reason}." for lens_id, reason in strips.refused],
    }
    return {
        **all_printable(words),
        "radio": radio_data(prep.job, wish.channels),
        "plans": plans,
        "stops": stops,
        "photos": photos,
        "margin": MARGIN_MM,
        "qr": None if wish.url is None else {"svg": qr_picture(wish.url), "url": printable(wish.url)},
        "strips": [strip_data(one, wish.paper) for one in printed],
        "shown": [strip_data(unsized(prep.lens(one.lens_id), one), wish.paper) for one in strips.in_proportion],
    }


def _short(text: str, room: float) -> str:
    return shortened(printable(text), 9.0, room)


# --- the day player's page ------------------------------------------------------------------------------------


def _day(prep: Prep, wish: PackWish) -> dict[str, Any]:
    """One page: the lenses, what to know before pulling, the cameras."""
    places = {entry.lens.id: index for index, entry in enumerate(prep.lenses)}
    entries = list(prep.lenses)
    if len(entries) > MOST_DAY_LENSES:
        order = {"fix": 0, "watch": 1, "info": 2, None: 3}
        entries.sort(key=lambda entry: order[entry.worst_severity])
    urgent = [finding for finding in prep.findings if finding.severity in ("fix", "watch")]
    quirks, shots = quirk_rows(entries), shot_rows(wish.shots)
    lines = min(len(quirks), MOST_QUIRKS + 1) + min(len(shots), MOST_SHOTS + 1)
    most = MOST_DAY_LENSES - max(0, math.ceil(1.1 * lines) - _FREE_LINES[wish.paper])
    return {
        "quirks": _few(quirks, MOST_QUIRKS),
        "shots": _few(shots, MOST_SHOTS),
        "facts": [
            ("job", _short(prep.job.title, 200.0)),
            ("shooting stop", prep.shooting_stop_text or "not set"),
            ("distances run from", "the image plane"),
            ("100 % depth used", "soft: all the room on that side is gone"),
        ],
        "findings": [_brief(finding) for finding in urgent[:MOST_DAY_FINDINGS]],
        "more_findings": max(0, len(urgent) - MOST_DAY_FINDINGS),
        "rows": [_day_row(entry, places[entry.lens.id]) for entry in entries[:most]],
        "more_rows": max(0, len(entries) - most),
        "cameras": [
            {"letter": one.camera.letter, "words": _short(_camera_words(one.camera.letter, prep, wish), 440.0)}
            for one in prep.cameras[:MOST_DAY_CAMERAS]
        ],
    }


def _few(rows: Sequence[tuple[str, str]], most: int) -> list[dict[str, str]]:
    """The first of them, each on one line, and how many more there are."""
    found = [{"name": _short(name, 118.0), "words": _short(words, 370.0)} for name, words in rows[:most]]
    more = len(rows) - most
    return [*found, {"name": f"and {more} more", "words": "on their pages and in the tables"}] if more > 0 else found


def _brief(finding: Finding) -> dict[str, str]:
    """A finding short enough for a line or two."""
    words = finding_words(finding)
    message = words["message"]
    cut = message if len(message) <= _MESSAGE_SIGNS else message[:_MESSAGE_SIGNS].rstrip() + "…"
    return {**words, "message": cut, "subject": _short(words["subject"].partition(" · ")[0], 160.0)}


def _day_row(entry: LensPrep, index: int) -> dict[str, Any]:
    shooting, widest = entry.budget("shooting"), entry.budget("widest")
    shown, stop = (shooting, entry.shooting) if shooting else (widest, entry.widest)
    facts = dict(lens_facts(entry))
    return {
        "lens": index,
        "name": _short(name_of(entry), _NAME_ROOM),
        "serial": shortened(serial_in_column(entry), 9.0, _SERIAL_ROOM),
        "camera": shortened(cameras_in_column(entry), 9.0, 22.0),
        "close": facts["close focus"],
        "rise": facts["positions rise"],
        "play": shortened(facts["backlash"], 9.0, 72.0),
        "shooting": f"{share_in_column(shown.budget.worst_own)} at {stop.text}" if shown and stop else "–",
        "state": state_of(entry.findings),
    }


def _camera_words(letter: str, prep: Prep, wish: PackWish) -> str:
    kit = _kit(letter, prep, wish)
    motors = ", ".join(f"{name} {drives}" for name, drives, _ in kit["motors"]) or "no motor listed"
    return f"motors: {motors}. {kit['radio']}"


# --- checklist, technician, kit -------------------------------------------------------------------------------


def _checklist(prep: Prep, strips: PackStrips, wish: PackWish) -> dict[str, Any]:
    fixes = sum(finding.severity == "fix" for finding in prep.findings)
    mapped = sum(entry.focus_map is not None for entry in prep.lenses)
    serials = sum(bool(entry.lens.serial) for entry in prep.lenses)
    total = len(prep.lenses)
    signed = initials(wish.signed)
    auto = [
        (prep.shooting_stop_text is not None, f"Shooting stop set: {prep.shooting_stop_text or 'not yet'}"),
        (serials == total, f"Serial numbers read: {serials} of {total} lenses"),
        (mapped == total, f"Focus mapped: {mapped} of {total} lenses"),
        (fixes == 0, f"Nothing left to fix: {fixes} on the cover"),
        (len(strips.made) == total, f"Strip for each lens: {len(strips.made)} of {total} at 1:1"),
    ]
    by_hand = (
        "Flange of each body checked with one lens that is known to be right",
        "Motors calibrated on each lens, ends clear of the hard stops",
        "Hand units, motors and receivers labelled by camera; channels written down",
        "A walk test of every radio at the distance it will be used",
        "Spare batteries, charts, tape measure checked against a second one",
        "This handover printed, and the pocket page on the phones of those who need it",
    )
    return {
        "job": [{"done": done, "words": words} for done, words in auto]
        + [{"done": False, "words": words} for words in by_hand],
        "lenses": [
            {
                "name": _short(name_of(entry), _NAME_ROOM),
                "serial": shortened(serial_in_column(entry), 9.0, _SERIAL_ROOM),
                "map": _map_words(entry),
                "initials": shortened(printable(signed.get(entry.lens.id, "")), 9.0, 34.0),
            }
            for entry in prep.lenses
        ],
    }


def _map_words(entry: LensPrep) -> str:
    if entry.focus_map is None:
        return "no map"
    return f"✓ {len(entry.marks)}, {'one way' if entry.one_way else 'both ways'}"


def _technician(prep: Prep) -> dict[str, Any]:
    rows = [row for row in audit_rows(prep) if row.technician]
    return {
        "rows": [
            {
                "id": row.entry.lens.id,
                "title": row.entry.title,
                "model": row.entry.lens.model or "",
                "findings": [finding_words(finding) for finding in row.technician],
            }
            for row in rows[:_LISTED]
        ]
    }


def _kit(letter: str, prep: Prep, wish: PackWish) -> dict[str, Any]:
    """Motors of a camera by what they drive, and its radios; a channel stands there when it is planned."""
    order: Sequence[str] = ("focus", "iris", "zoom", "extra")
    motors = sorted((motor for motor in prep.job.motors if motor.camera == letter), key=lambda m: order.index(m.axis))
    radios = [radio.id for radio in prep.job.radios if radio.camera == letter]
    return {
        "motors": [
            (motor.id, motor.axis, "not known" if motor.lag_ms is None else f"{motor.lag_ms:g} ms") for motor in motors
        ],
        "radio": _radio_words(radios, wish.channels.get(letter)),
    }


def _radio_words(radios: Sequence[str], planned: tuple[str, int] | None) -> str:
    """The radios of a camera and the channel they share, with its frequency where the standard has such a channel."""
    listed = f"Radio: {', '.join(radios)}" if radios else "No radio is listed"
    if planned is None:
        return f"{listed}; no channel is planned yet." if radios else f"{listed}."
    band, number = planned
    try:
        at = f", {channel(FOCUS_STANDARDS[band], number).centre_mhz:g} MHz"
    except KeyError:
        at = ""
    return f"{listed}; channel {number} of the {band} MHz band is planned{at}. Local rules and a walk test decide."
