"""What the radio plan says to people, and its JSON values. Nothing here, or printed from here, is a safe distance."""

from collections.abc import Iterator
from typing import Any

from tapehook.finding import Figure, Finding, Severity, sort_findings
from tapehook.prep.radio import BAND_OF, MOST_RECEIVERS, RadioPrep
from tapehook.radio import Channel, Refused, permit
from tapehook.radio.air import third_order
from tapehook.radio.allowed import Use

THIN_DB = 10.0
"""Margin below which a link is watched: a hand or a body may take it. Common practice, no source."""

DECIDES = (
    "Planning figures only: local rules and the production's frequency coordinator decide, "
    "and only a walk test proves the plan."
)
EFFECTS = (
    "Electrically fired effects are on the call. Give this list to the special-effects supervisor; keep transmitters "
    "where they say; they may require them off."
)
GUIDANCE = (
    "Published guidance for the supervisor: Institute of Makers of Explosives, Safety Library Publication 20, Safety "
    "guide for the prevention of radio frequency radiation hazards in the use of commercial electric detonators; IEEE "
    "C95.4, Recommended practice on radio frequency transmitting antennas when using electric blasting caps; CLC/TR "
    "50426, Assessment of inadvertent initiation of bridge wire electro-explosive devices by radio-frequency "
    "radiation. Effects for film may be more sensitive than what these cover: that needs expert help."
)
EXPOSURE = (
    "People: limits of exposure are the radio maker's to meet; follow the manual of each radio, and keep aerials of "
    "strong senders off the body."
)


def cautions(prep: RadioPrep) -> list[str]:
    """Sentences that stand wherever the plan is shown."""
    return [DECIDES, EXPOSURE, *([EFFECTS, GUIDANCE] if prep.job.fired_effects else [])]


def radio_findings(prep: RadioPrep) -> list[Finding]:
    """Everything found, worst first."""
    found = [*_without(prep), *_refusals(prep), *_margins(prep), *_conflicts(prep), *_permits(prep), *_products(prep)]
    found += [*_engine(prep), *_effects(prep), *_crowded(prep)]
    walk = "Walk each link to the far end of its set, body between, with everybody else switched on."
    message = "No figure here replaces a walk test: it should prove each margin at the place of work."
    found.append(Finding("radio-walk-test", "info", "Radio", message, walk))
    return sort_findings(found)


def _name(channel: Channel) -> str:
    return f"channel {channel.number} at {BAND_OF[channel.standard]} MHz ({channel.centre_mhz:g} MHz)"


def _without(prep: RadioPrep) -> Iterator[Finding]:
    for letter in prep.plan.without:
        message = f"Camera {letter} has no channel that its radios may use in {prep.job.region}."
        step = "Use radios for another band, or lower the power; the refusals say what stands in the way."
        yield Finding("radio-no-channel", "fix", f"Camera {letter}", message, step, camera=letter)


def _refusals(prep: RadioPrep) -> Iterator[Finding]:
    """One finding for each band and reason of a camera."""
    for letter, refused in prep.refused.items():
        groups: dict[tuple[str, str], list[tuple[Channel, Refused]]] = {}
        for one, why in refused.items():
            groups.setdefault((one.standard, why.code), []).append((one, why))
        for (standard, _), members in groups.items():
            numbers = _numbers([one.number for one, _ in members])
            why = members[0][1]
            noun = "channel" if len(members) == 1 else "channels"
            message = f"Camera {letter}: {noun} {numbers} at {BAND_OF[standard]} MHz not offered: "
            message += f"{why.reason} ({why.source})."
            step = "Check the national text, or use another band."
            yield Finding("radio-refused", "info", f"Camera {letter}", message, step, camera=letter)


def _numbers(numbers: list[int]) -> str:
    """Channel numbers as people say them, runs closed up."""
    first, last = min(numbers), max(numbers)
    if len(numbers) > 2 and last - first == len(numbers) - 1:
        return f"{first} to {last}"
    return ", ".join(str(one) for one in sorted(numbers))


def _margins(prep: RadioPrep) -> Iterator[Finding]:
    for letter, margin in prep.plan.margin_db.items():
        if margin >= THIN_DB:
            continue
        message = f"Camera {letter} has {margin:.1f} dB of margin on {_name(prep.plan.channels[letter])}."
        step = "Bring the receiver nearer, move other senders away from it, or ask the coordinator for another channel."
        figure = Figure(margin, "dB")
        severity: Severity = "fix" if margin < 0 else "watch"
        yield Finding("radio-margin", severity, f"Camera {letter}", message, step, figure, camera=letter)


def _conflicts(prep: RadioPrep) -> Iterator[Finding]:
    """Cameras on one channel or on neighbours, and Wi-Fi on top of a camera."""
    plan = sorted(prep.plan.channels.items())
    for at, (letter, one) in enumerate(plan):
        for other, two in plan[at + 1 :]:
            if one.standard != two.standard or abs(one.number - two.number) > 1:
                continue
            same = one.number == two.number
            what = "share" if same else "are neighbours on"
            channels = _name(one) if same else f"channels {one.number} and {two.number}"
            message = f"Cameras {letter} and {other} {what} {channels}."
            step = "Give one of them another channel." if same else "Leave a channel between them where there is one."
            code = "radio-co-channel" if same else "radio-adjacent"
            severity: Severity = "fix" if same else "watch"
            yield Finding(code, severity, f"Camera {letter}", message, step, camera=letter)
        for sender in prep.air.emitters:
            if abs(sender.centre_mhz - one.centre_mhz) < (sender.width_mhz + one.width_mhz) / 2.0:
                message = f"{sender.id} covers {_name(one)} of camera {letter}."
                step = "Ask whose it is and whether it can move, or plan anew with its channel taken."
                yield Finding("radio-covered", "watch", f"Camera {letter}", message, step, camera=letter)


def _permits(prep: RadioPrep) -> Iterator[Finding]:
    for letter, one in prep.plan.channels.items():
        allowed = prep.permits[letter].get(one)
        if allowed is None:
            why = prep.refused[letter].get(one) or permit(prep.job.region or "", one, Use(0.0))
            reason = f"{why.reason} ({why.source})" if isinstance(why, Refused) else "its radios do not use that band"
            message = f"Camera {letter} stands on {_name(one)}, which is not offered: {reason}."
            yield Finding(
                "radio-not-allowed", "fix", f"Camera {letter}", message, "Give it another channel.", camera=letter
            )
        elif not allowed.row.confirmed:
            message = (
                f"Camera {letter}, {_name(one)}: {allowed.wording} in {allowed.row.region} ({allowed.row.source})."
            )
            step = "Check the national text before the radio is switched on."
            yield Finding("radio-unconfirmed", "watch", f"Camera {letter}", message, step, camera=letter)


def _products(prep: RadioPrep) -> Iterator[Finding]:
    places = {one.letter: (one.hand, *one.receivers) for one in prep.air.networks}
    for product in third_order(prep.plan.channels, places):
        senders = " and ".join(product.senders)
        message = (
            f"Senders of cameras {senders} make a third-order product at {product.frequency_mhz:g} MHz, on camera "
        )
        message += f"{product.letter}'s channel."
        step = "A warning only: keep hand units of different cameras apart on the cart."
        yield Finding("radio-third-order", "watch", f"Camera {product.letter}", message, step, camera=product.letter)


def _engine(prep: RadioPrep) -> Iterator[Finding]:
    if prep.plan.status == "bound" and not prep.judged:
        message = "The plan is good but not proven best; bound_db says what no plan can be better than."
        step = "Install the extra tapehook[radio] for proofs of large plans."
        yield Finding("radio-bound", "info", "Radio", message, step)


def _effects(prep: RadioPrep) -> Iterator[Finding]:
    if prep.job.fired_effects:
        yield Finding("radio-fired-effects", "fix", "Radio", EFFECTS, "Print the transmitter list and hand it over.")


def _crowded(prep: RadioPrep) -> Iterator[Finding]:
    for one in prep.air.networks:
        if len(one.receivers) > MOST_RECEIVERS:
            message = f"Camera {one.letter} has {len(one.receivers)} receivers; up to {MOST_RECEIVERS} are usual."
            step = "Ask the maker of the hand unit how many it serves."
            yield Finding("radio-receivers", "watch", f"Camera {one.letter}", message, step, camera=one.letter)


def transmitters(prep: RadioPrep) -> list[dict[str, Any]]:
    """Every transmitter of the plan for the effects supervisor: frequency, power, place, hand-held or not."""
    powers = {radio.id: radio.power_dbm for radio in prep.job.radios}
    rows = []
    for radio in prep.job.radios:
        channel = prep.plan.channels.get(radio.camera or "")
        network = next((one for one in prep.air.networks if one.letter == radio.camera), None)
        power = powers[radio.id]
        rows.append(
            {
                "id": radio.id,
                "camera": radio.camera,
                "frequency_mhz": channel.centre_mhz if channel else None,
                "eirp_dbm": network.kind.eirp_dbm if power is None and network else power,
                "x_m": radio.x_m,
                "y_m": radio.y_m,
                "hand_held": radio.role == "hand",
            }
        )
    return rows


def radio_as_json(prep: RadioPrep) -> dict[str, Any]:
    """The plan as plain JSON values: the shape of ``tapehook radio --json``."""
    plan = prep.plan
    return {
        "status": plan.status,
        "region": prep.job.region,
        "worst_margin_db": plan.worst_margin_db,
        "bound_db": plan.bound_db,
        "networks": {
            letter: {
                "band": BAND_OF[one.standard],
                "channel": one.number,
                "centre_mhz": one.centre_mhz,
                "margin_db": plan.margin_db[letter],
                "fallback": _back(plan.fallback.get(letter)),
                "permit": prep.permits[letter][one].wording if one in prep.permits[letter] else "not allowed",
            }
            for letter, one in sorted(plan.channels.items())
        },
        "moved": list(plan.moved),
        "without": list(plan.without),
        "transmitters": transmitters(prep),
        "findings": [finding.as_json() for finding in radio_findings(prep)],
        "cautions": cautions(prep),
        "assumptions": list(prep.assumptions),
    }


def _back(channel: Channel | None) -> dict[str, Any] | None:
    if channel is None:
        return None
    return {"band": BAND_OF[channel.standard], "channel": channel.number, "centre_mhz": channel.centre_mhz}
