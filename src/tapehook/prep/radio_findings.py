"""What the radio plan says to people. Nothing here, or printed from here, is a safe distance."""

from collections.abc import Iterator

from tapehook.finding import Figure, Finding, Severity, sort_findings
from tapehook.prep.radio import BAND_OF, MOST_RECEIVERS, RadioPrep
from tapehook.radio import Channel, Refused, permit
from tapehook.radio.air import Product, third_order
from tapehook.radio.allowed import Use
from tapehook.radio.exposure import PORTABLE_M, density_mw_cm2, public_limit_mw_cm2
from tapehook.radio.propagation import milliwatts
from tapehook.radio.solving import installed

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
    found += [*_moved(prep), *_engine(prep), *_exposure(prep), *_effects(prep), *_crowded(prep)]
    walk = "Walk each link to the far end of its set, body between, with everybody else switched on."
    message = "No figure here replaces a walk test: it should prove each margin at the place of work."
    found.append(Finding("radio-walk-test", "info", "Radio", message, walk))
    return sort_findings(found)


def channel_name(channel: Channel) -> str:
    """A channel as people say it, with its band and middle."""
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
        message = f"Camera {letter} has {margin:.1f} dB of margin on {channel_name(prep.plan.channels[letter])}."
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
            channels = channel_name(one) if same else f"channels {one.number} and {two.number}"
            message = f"Cameras {letter} and {other} {what} {channels}."
            step = "Give one of them another channel." if same else "Leave a channel between them where there is one."
            code = "radio-co-channel" if same else "radio-adjacent"
            severity: Severity = "fix" if same else "watch"
            yield Finding(code, severity, f"Camera {letter}", message, step, camera=letter)
        for sender in prep.air.emitters:
            if abs(sender.centre_mhz - one.centre_mhz) < (sender.width_mhz + one.width_mhz) / 2.0:
                message = f"{sender.id} covers {channel_name(one)} of camera {letter}."
                step = "Ask whose it is and whether it can move, or plan anew with its channel taken."
                yield Finding("radio-covered", "watch", f"Camera {letter}", message, step, camera=letter)


def _permits(prep: RadioPrep) -> Iterator[Finding]:
    for letter, one in prep.plan.channels.items():
        allowed = prep.permits[letter].get(one)
        if allowed is None:
            why = prep.refused[letter].get(one) or permit(prep.job.region or "", one, Use(0.0))
            reason = f"{why.reason} ({why.source})" if isinstance(why, Refused) else "its radios do not use that band"
            message = f"Camera {letter} stands on {channel_name(one)}, which is not offered: {reason}."
            yield Finding(
                "radio-not-allowed", "fix", f"Camera {letter}", message, "Give it another channel.", camera=letter
            )
        elif not allowed.row.confirmed:
            message = f"Camera {letter}, {channel_name(one)}: {allowed.wording} in {allowed.row.region} "
            message += f"({allowed.row.source})."
            step = "Check the national text before the radio is switched on."
            yield Finding("radio-unconfirmed", "watch", f"Camera {letter}", message, step, camera=letter)


def _products(prep: RadioPrep) -> Iterator[Finding]:
    """One finding for each camera that products of its neighbours fall on."""
    places = {one.letter: (*one.hands, *one.receivers) for one in prep.air.networks}
    hit: dict[str, list[Product]] = {}
    for product in third_order(prep.plan.channels, places):
        hit.setdefault(product.letter, []).append(product)
    for letter, products in sorted(hit.items()):
        senders = " and ".join(sorted({one for product in products for one in product.senders}))
        if len(products) == 1:
            what = f"a third-order product at {products[0].frequency_mhz:g} MHz"
        else:
            what = f"{len(products)} third-order products"
        message = f"Senders of cameras {senders}, within 2 m of each other, make {what}, on camera {letter}'s channel."
        step = "A warning only: keep hand units of different cameras apart on the cart."
        figure = Figure(float(len(products)), "products")
        yield Finding("radio-third-order", "watch", f"Camera {letter}", message, step, figure, camera=letter)


def _exposure(prep: RadioPrep) -> Iterator[Finding]:
    """The strongest radio against the general public's limit; with fired effects on the call no figure is given."""
    if prep.job.fired_effects or not prep.plan.channels:
        return
    shares = [
        (density_mw_cm2(milliwatts(sender.eirp_dbm), PORTABLE_M) / public_limit_mw_cm2(channel.centre_mhz), one.letter)
        for one in prep.air.networks
        if (channel := prep.plan.channels.get(one.letter)) is not None
        for sender in one.senders
    ]
    share, letter = max(shares)
    message = f"The strongest radio, of camera {letter}, reaches {100 * share:.2g} % of the US limit for the public "
    message += "at 20 cm."
    step = "Nearer than that the maker's manual and the rules for radios worn on the body hold (47 CFR 1.1310, 2.1093)."
    severity: Severity = "watch" if share > 1.0 else "info"
    yield Finding("radio-exposure", severity, "Radio", message, step, Figure(100.0 * share, "%"))


def _moved(prep: RadioPrep) -> Iterator[Finding]:
    """What is other than in the plan that was kept."""
    for letter in prep.plan.moved:
        old, new = prep.plan.before[letter], prep.plan.channels[letter]
        message = f"Camera {letter} leaves {channel_name(old)} for {channel_name(new)}."
        step = "Change hand unit and receivers together, and tell whoever coordinates radio."
        yield Finding("radio-moved", "watch", f"Camera {letter}", message, step, camera=letter)


def _engine(prep: RadioPrep) -> Iterator[Finding]:
    """What is not proven, and what would prove it."""
    plan = prep.plan
    if plan.status != "bound" or prep.judged:
        return
    if plan.worst_proven:
        bound = "" if plan.sum_bound_db is None else f", and no plan as good is below {plan.sum_bound_db} dB"
        message = (
            f"No plan has a better worst pair; the sum of what falls short, {plan.sum_db} dB, is not proven{bound}."
        )
    else:
        message = "The plan is good but not proven best; bound_db says what no plan can be better than."
    if installed():
        step = "Nothing to do: more time, fewer cameras or fewer bands to choose from would prove more."
    else:
        step = "Install the extra tapehook[radio], which proves more of large plans."
    yield Finding("radio-bound", "info", "Radio", message, step)


def _effects(prep: RadioPrep) -> Iterator[Finding]:
    if prep.job.fired_effects:
        yield Finding("radio-fired-effects", "fix", "Radio", EFFECTS, "Print the transmitter list and hand it over.")


def _crowded(prep: RadioPrep) -> Iterator[Finding]:
    said = prep.job.most_receivers
    most = MOST_RECEIVERS if said is None else said
    for one in prep.air.networks:
        if len(one.receivers) > most:
            there = f"Camera {one.letter} has {len(one.receivers)} receivers"
            if said is None:
                severity: Severity = "watch"
                message = f"{there}; up to {most} are usual."
                step = "Ask the maker of the hand unit how many it serves, and enter it: most_receivers in job.toml."
            else:
                severity = "fix"
                message = f"{there}; its hand unit serves {most}."
                step = "Take receivers off this camera, or give some a hand unit of their own."
            yield Finding("radio-receivers", severity, f"Camera {one.letter}", message, step, camera=one.letter)
