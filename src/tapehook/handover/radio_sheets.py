"""The radio plan on paper: the plan with its pictures, the transmitters, a sheet for each camera with its walk test."""

from collections.abc import Mapping
from typing import Any

from tapehook.handover.glyphs import all_printable
from tapehook.handover.pdf_data import pack_data
from tapehook.handover.pdf_words import finding_words
from tapehook.handover.typesetting import Paper, set_pdf
from tapehook.job import Job, JobProblems
from tapehook.picture.lot import lot
from tapehook.picture.spectrum import spectrum
from tapehook.prep import prepare
from tapehook.prep.radio import BAND_OF, RadioPrep, plan_radio
from tapehook.prep.radio_as_json import network_of, next_best_as_json, transmitters
from tapehook.prep.radio_findings import cautions, channel_name, radio_findings
from tapehook.prep.radio_pictures import bands_of, lot_of
from tapehook.radio import Channel
from tapehook.radio.links import Link, Reach, links_of, reaches

WIDTH, LOT_HEIGHT, BAND_HEIGHT = 425.0, 230.0, 170.0
"""Points: the width the template gives the pictures, so that their letters keep their size."""
MODELS = {
    "free_space": "free space (ITU-R P.525)",
    "two_ray": "two rays, aerials at 1.5 m",
    "in_sight": "in sight (ITU-R P.1411)",
    "no_sight": "no sight, tall buildings (P.1411)",
    "homes": "no sight, among houses (P.1411)",
}
REACH_NOTE = (
    "With the others where they are in the plan. By their spread, 5 % of places are worse than the second figure."
)
NOT_FOR_EFFECTS = " Reach is how far a link works, and says nothing about fired effects."
_PROVE = (
    "Everybody else switched on and where they will work: cameras, video, Wi-Fi, microphones.",
    "Hand unit at the farthest place of the day and beyond, held as it will be held, a body between.",
    "Camera moving as in the shot; behind sets, vehicles and metal. Write what is shown, lost or late.",
    "Then the channel to fall back on, once, so that it is known to work.",
)
_MOST_FINDINGS = 12
_Said = dict[str, Any]


def can_be_planned(job: Job, channels: Mapping[str, tuple[str, int]]) -> bool:
    """True when the job says enough to judge these channels."""
    return _judged(job, channels) is not None


def radio_data(job: Job, channels: Mapping[str, tuple[str, int]]) -> _Said | None:
    """What pack_radio.typ prints of a plan with these channels; None without, or where the job says too little."""
    prep = _judged(job, channels)
    return None if prep is None else sheet_data(prep)


def _judged(job: Job, channels: Mapping[str, tuple[str, int]]) -> RadioPrep | None:
    try:
        return plan_radio(job, judge=channels) if channels else None
    except JobProblems:
        return None


def render_radio_sheets(prep: RadioPrep, *, paper: Paper | None = None) -> bytes:
    """The sheets as a PDF of their own; equal bytes for equal input. Raises TypesettingError."""
    # What pack.typ asks for besides, of a job with nothing in it; none of it is printed.
    bare = pack_data(prepare(Job(title=prep.job.title)), paper or prep.job.paper)
    data = {**bare, "more": {"not_tested": [], "radio": sheet_data(prep)}}
    return set_pdf("pack.typ", data, tagged=True, then=("pack_radio.typ", "radio_alone.typ"))


def sheet_data(prep: RadioPrep) -> _Said:
    """The plan and the sheet of each camera. Words are made printable here, pictures left whole."""
    plan = prep.plan
    spots, links = lot_of(prep)
    told = links_of(prep.air, plan.channels)
    acting = [one for one in radio_findings(prep) if one.severity != "info"]
    words = {
        "facts": [
            ("region", prep.job.region or "not set"),
            ("worst margin", "none" if plan.worst_margin_db is None else f"{plan.worst_margin_db:.1f} dB"),
            ("no plan exceeds", "–" if plan.bound_db is None else f"{plan.bound_db:.1f} dB"),
            ("proven", "yes" if plan.status == "proven" else "a given plan" if prep.judged else "no"),
        ],
        "cautions": cautions(prep),
        "rows": [_row(prep, letter, one) for letter, one in sorted(plan.channels.items())],
        "next": _next(prep),
        "transmitters": [_sender(one) for one in transmitters(prep)],
        "findings": [{**finding_words(one), "lens": None} for one in acting[:_MOST_FINDINGS]],
        "assumptions": list(prep.assumptions),
        "cameras": [_camera(prep, letter, told[letter]) for letter in sorted(plan.channels)],
    }
    title = "The lot from above"
    return {
        **all_printable(words),
        "lot": {"svg": lot(spots, links, width=WIDTH, height=LOT_HEIGHT, title=title), "alt": title},
        "bands": [
            {
                "band": band,
                "alt": f"Who sends at {band} MHz",
                "svg": spectrum(one, width=WIDTH, height=BAND_HEIGHT, title=f"Who sends at {band} MHz"),
            }
            for band, one in bands_of(prep)
        ],
    }


def _row(prep: RadioPrep, letter: str, channel: Channel) -> list[str]:
    permit = prep.permits[letter].get(channel)
    return [
        letter,
        f"{BAND_OF[channel.standard]} MHz",
        str(channel.number),
        f"{channel.centre_mhz:g} MHz",
        f"{prep.plan.margin_db[letter]:.1f} dB",
        _back(prep, letter),
        "not offered" if permit is None else permit.wording,
    ]


def _back(prep: RadioPrep, letter: str) -> str:
    back = prep.plan.fallback.get(letter)
    return "none is free" if back is None else f"{back.number} ({back.centre_mhz:g} MHz)"


def _next(prep: RadioPrep) -> str:
    other = next_best_as_json(prep)
    if other is None:
        return ""
    moved = [f"{letter} on {one['channel']}" for letter, one in other["networks"].items() if one["moved"]]
    return f"Next-best plan: {', '.join(moved)}; worst margin {other['worst_margin_db']:.1f} dB."


def _sender(one: _Said) -> list[str]:
    at = "no channel" if one["frequency_mhz"] is None else f"{one['frequency_mhz']:g} MHz"
    place = "not given" if one["x_m"] is None else f"x {one['x_m']:g} m, y {one['y_m']:g} m"
    held = "hand-held" if one["hand_held"] else "mounted"
    return [one["id"], one["camera"] or "–", at, f"{one['eirp_dbm']:g} dBm EIRP", place, held]


def _camera(prep: RadioPrep, letter: str, links: list[Link]) -> _Said:
    channel, network = prep.plan.channels[letter], network_of(prep, letter)
    radios = ", ".join(radio.id for radio in prep.job.radios if radio.camera == letter)
    hands = network.senders[: len(network.hands)]
    note = REACH_NOTE + (NOT_FOR_EFFECTS if prep.job.fired_effects else "")
    return {
        "letter": letter,
        "facts": [
            ("channel", channel_name(channel)),
            ("fall back on", _back(prep, letter)),
            ("worst margin", f"{prep.plan.margin_db[letter]:.1f} dB"),
            ("radios", radios),
        ],
        "links": [_link(one, from_hand=one.sender in hands) for one in links],
        "reach": [_reach(one) for one in reaches(prep.air, channel, links)],
        "reach_note": note,
        "prove": list(_PROVE),
        "walk": [*_walk(links), *[""] * 4],
    }


def _link(one: Link, *, from_hand: bool) -> list[str]:
    eaten = ", ".join(f"{eater.name} {eater.takes_db:.1f} dB" for eater in one.eaters) or "nothing"
    way = "hand unit to camera" if from_hand else "camera to hand unit"
    return [way, f"{one.distance_m:.0f} m", f"{one.margin_db:.1f} dB", f"{one.alone_db:.1f} dB", eaten]


def _reach(one: Reach) -> list[str]:
    known = "no end" if one.valid_to_m is None else f"{one.valid_to_m:g} m, spread {one.spread_db:g} dB"
    return [MODELS[one.model], f"{one.median_m:.0f} m", f"{one.sure_m:.0f} m" if one.spread_db else "–", known]


def _walk(links: list[Link]) -> list[str]:
    """The places to walk to, with what is predicted there."""
    worst = min(links, key=lambda one: one.margin_db)
    return [
        f"as planned, {worst.distance_m:.0f} m: {worst.margin_db:.0f} dB predicted",
        "a body between hand unit and camera",
        "the farthest mark of the day",
        "on the channel to fall back on",
    ]
