"""What the pictures of a radio plan show: each band with all who send in it, and the lot from above."""

from tapehook.picture.lot import LotLink, Spot
from tapehook.picture.spectrum import Signal, Spectrum
from tapehook.prep.radio import RadioPrep
from tapehook.radio import STANDARDS, Channel
from tapehook.radio.air import Air, Network
from tapehook.radio.channels import FOCUS_STANDARDS
from tapehook.radio.links import links_of

_ROOM_MHZ = 4.0


def bands_of(prep: RadioPrep) -> list[tuple[str, Spectrum]]:
    """Each band that a camera stands or falls back in, by the name people give it, with everybody in it."""
    plan = prep.plan
    used = {one.standard for one in (*plan.channels.values(), *plan.fallback.values())}
    scan = prep.air.scan.points if prep.air.scan else ()
    found = []
    for band, standard in FOCUS_STANDARDS.items():
        if standard not in used:
            continue
        every = STANDARDS[standard]
        low, high = every[0].low_mhz - _ROOM_MHZ, every[-1].high_mhz + _ROOM_MHZ
        taken = [(one.low_mhz, one.high_mhz) for one in prep.taken]
        found.append((band, Spectrum(low, high, [*_others(prep), *_ours(prep, standard)], taken, scan)))
    return found


def _ours(prep: RadioPrep, standard: str) -> list[Signal]:
    """Our channels, and the channels to fall back on, each once with the letters of all who would."""
    signals, back = [], dict[Channel, list[Network]]()
    for network in prep.air.networks:
        own, other = prep.plan.channels.get(network.letter), prep.plan.fallback.get(network.letter)
        if own is not None and own.standard == standard:
            signals.append(Signal(network.letter, own.centre_mhz, own.width_mhz, _sent(network), "ours"))
        if other is not None and other.standard == standard:
            back.setdefault(other, []).append(network)
    for one, networks in back.items():
        letters, sent = ", ".join(network.letter for network in networks), max(map(_sent, networks))
        signals.append(Signal(letters, one.centre_mhz, one.width_mhz, sent, "fallback"))
    return signals


def _sent(network: Network) -> float:
    return max(one.eirp_dbm for one in network.senders)


def _others(prep: RadioPrep) -> list[Signal]:
    return [
        Signal(one.id, one.centre_mhz, one.width_mhz, one.eirp_dbm, "other", ofdm=one.ofdm) for one in prep.air.emitters
    ]


def spots_of(air: Air) -> list[Spot]:
    """Everybody at their place, keyed "A hand 0", "A receiver 0" or "sender 0"."""
    spots = []
    for network in air.networks:
        for kind, role, places in (("camera", "receiver", network.receivers), ("hand", "hand", network.hands)):
            for at, place in enumerate(places):
                spots.append(Spot(kind, network.letter, place.x_m, place.y_m, f"{network.letter} {role} {at}"))
    others = enumerate(air.emitters)
    return [*spots, *(Spot("other", one.id, one.place.x_m, one.place.y_m, f"sender {at}") for at, one in others)]


def lot_of(prep: RadioPrep) -> tuple[list[Spot], list[LotLink]]:
    """Everybody at their place, and the links, worse way of each."""
    links = []
    for found in links_of(prep.air, prep.plan.channels).values():
        half = len(found) // 2
        for there, back in zip(found[:half], found[half:], strict=True):
            start, end = there.sender.place, there.heard_at
            worse = min(there.margin_db, back.margin_db)
            links.append(LotLink((start.x_m, start.y_m), (end.x_m, end.y_m), worse))
    return spots_of(prep.air), links
