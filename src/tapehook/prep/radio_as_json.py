"""The radio plan as plain JSON values. Reach is how far a link carries, and nothing else."""

from typing import Any

from tapehook.prep.radio import BAND_OF, RadioPrep
from tapehook.prep.radio_findings import cautions, radio_findings
from tapehook.radio import Channel
from tapehook.radio.air import Network
from tapehook.radio.links import Link, Reach, links_of, reaches
from tapehook.radio.masks import RadioKind
from tapehook.radio.plan import margins_of


def transmitters(prep: RadioPrep) -> list[dict[str, Any]]:
    """Every transmitter of the plan for the effects supervisor: frequency, power, place, hand-held or not."""
    powers = {radio.id: radio.power_dbm for radio in prep.job.radios}
    rows = []
    for radio in prep.job.radios:
        channel = prep.plan.channels.get(radio.camera or "")
        power = powers[radio.id]
        rows.append(
            {
                "id": radio.id,
                "camera": radio.camera,
                "frequency_mhz": channel.centre_mhz if channel else None,
                "eirp_dbm": RadioKind().eirp_dbm if power is None else power,
                "x_m": radio.x_m,
                "y_m": radio.y_m,
                "hand_held": radio.role == "hand",
            }
        )
    return rows


def radio_as_json(prep: RadioPrep) -> dict[str, Any]:
    """The plan as plain JSON values: the shape of ``tapehook radio --json``."""
    plan = prep.plan
    links = links_of(prep.air, plan.channels)
    return {
        "status": plan.status,
        "region": prep.job.region,
        "worst_margin_db": plan.worst_margin_db,
        "bound_db": plan.bound_db,
        "worst_proven": plan.worst_proven,
        "kept": plan.kept,
        "sum_db": plan.sum_db,
        "sum_bound_db": plan.sum_bound_db,
        "networks": {
            letter: _channel(one)
            | {
                "margin_db": plan.margin_db[letter],
                "fallback": _channel(plan.fallback[letter]) if letter in plan.fallback else None,
                "permit": prep.permits[letter][one].wording if one in prep.permits[letter] else "not allowed",
                "heard_dbm": prep.air.scan.level_dbm(one) if prep.air.scan else None,
                "links": [link_as_json(network_of(prep, letter), link) for link in links[letter]],
                "reach": [reach_as_json(reach) for reach in reaches(prep.air, one, links[letter])],
            }
            for letter, one in sorted(plan.channels.items())
        },
        "next_best": next_best_as_json(prep),
        "moved": list(plan.moved),
        "without": list(plan.without),
        "taken": [{"low_mhz": one.low_mhz, "high_mhz": one.high_mhz} for one in prep.taken],
        "transmitters": transmitters(prep),
        "findings": [finding.as_json() for finding in radio_findings(prep)],
        "cautions": cautions(prep),
        "assumptions": list(prep.assumptions),
    }


def network_of(prep: RadioPrep, letter: str) -> Network:
    """The network of a camera."""
    return next(one for one in prep.air.networks if one.letter == letter)


def _channel(channel: Channel) -> dict[str, Any]:
    return {"band": BAND_OF[channel.standard], "channel": channel.number, "centre_mhz": channel.centre_mhz}


def link_as_json(network: Network, link: Link) -> dict[str, Any]:
    """One way of a link: who to whom, its figures, and what eats its margin."""
    from_hand = link.sender in network.senders[: len(network.hands)]
    return {
        "from_hand": from_hand,
        "distance_m": link.distance_m,
        "wanted_dbm": link.wanted_dbm,
        "margin_db": link.margin_db,
        "alone_db": link.alone_db,
        "eaten_by": [{"name": one.name, "takes_db": one.takes_db} for one in link.eaters],
    }


def reach_as_json(reach: Reach) -> dict[str, Any]:
    """How far the worst link carries by one model."""
    return {
        "model": reach.model,
        "median_m": reach.median_m,
        "sure_m": reach.sure_m,
        "spread_db": reach.spread_db,
        "valid_to_m": reach.valid_to_m,
    }


def next_best_as_json(prep: RadioPrep) -> dict[str, Any] | None:
    """The best plan that is not this one; None where there is none or none was asked for."""
    other = prep.plan.next_best
    if other is None:
        return None
    margins = margins_of(prep.air, other)
    return {
        "worst_margin_db": min(margins.values()),
        "networks": {
            letter: _channel(one) | {"margin_db": margins[letter], "moved": one != prep.plan.channels[letter]}
            for letter, one in sorted(other.items())
        },
    }
