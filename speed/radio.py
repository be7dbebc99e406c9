"""Radio plans of a busy lot: eight cameras among a hundred senders, proven, and forty cameras."""

import numpy as np

from speed.harness import Case, Contender, case
from tapehook.radio import STANDARDS, channel, solving
from tapehook.radio.air import Air, Emitter, Network, Place
from tapehook.radio.best import choose, least_worst
from tapehook.radio.channels import IEEE_915, IEEE_2450, WIFI_2
from tapehook.radio.choosing import Table
from tapehook.radio.masks import RadioKind
from tapehook.radio.plan import make_plan, make_table
from tapehook.radio.powers import Powers

LOT_M = (200.0, 120.0)
OPTIONS = STANDARDS[IEEE_2450] + STANDARDS[IEEE_915]
EMITTERS = 100


def lot(cameras: int, seed: int = 1) -> Air:
    """Cameras with hand units 5 to 20 m off, and Wi-Fi, video and other crews between them; always the same."""
    chance = np.random.default_rng(seed)

    def place() -> Place:
        return Place(float(chance.uniform(0, LOT_M[0])), float(chance.uniform(0, LOT_M[1])))

    networks = []
    for at in range(cameras):
        camera, angle, off = place(), float(chance.uniform(0, 2 * np.pi)), float(chance.uniform(5, 20))
        hand = Place(camera.x_m + off * float(np.cos(angle)), camera.y_m + off * float(np.sin(angle)))
        networks.append(Network(f"{at:02d}", RadioKind(), (hand,), (camera,), OPTIONS))
    return Air(tuple(networks), tuple(_emitter(chance, at, place()) for at in range(EMITTERS)))


def _emitter(chance: np.random.Generator, at: int, place: Place) -> Emitter:
    """Wi-Fi on 1, 6 or 11, video at 5 GHz, or another crew on a channel of the grid."""
    kind = int(chance.integers(0, 3))
    if kind == 0:
        wifi = channel(WIFI_2, (1, 6, 11)[int(chance.integers(3))])
        return Emitter(f"Wi-Fi {at}", wifi.centre_mhz, wifi.width_mhz, 20.0, place, ofdm=True)
    if kind == 1:
        return Emitter(f"video {at}", float(chance.uniform(5200, 5800)), 20.0, 20.0, place, ofdm=True)
    own = OPTIONS[int(chance.integers(len(OPTIONS)))]
    return Emitter(f"crew {at}", own.centre_mhz, own.width_mhz, 10.0, place)


@case("Radio: eight cameras, a hundred senders")
def eight() -> Case:
    """From places to the plan: worst margin and sum both proven, fallbacks included."""
    air = lot(8)
    plan = make_plan(air, solver=False)
    if plan.status != "proven":
        raise RuntimeError("the plan of eight cameras is not proven")
    peers = [Contender("the next-best plan besides", lambda: make_plan(air, solver=False, other=True))]
    if solving.installed():
        table = make_table(Powers(air))
        peers.append(Contender("CP-SAT: the sum alone, worst known", lambda: _solver_sum(table)))
    return Case(
        ours=Contender("plan, proven, without the solver", lambda: make_plan(air, solver=False)),
        peers=tuple(peers),
        at_most_s=1.0,
        note=f"{len(OPTIONS)} channels on two bands, worst shortfall {plan.chosen.worst if plan.chosen else 0} dB and "
        f"sum {plan.sum_db} dB, both proven.",
    )


def _solver_sum(table: Table) -> None:
    """The same least sum by the constraint solver, from the same start, up to ten seconds."""
    start = least_worst(table, solver=False)
    solving.least_sum(table, start.worst, 10.0, start.choice)


@case("Radio: forty cameras, a hundred senders")
def forty() -> Case:
    """The worst margin proven, from places on; the whole plan, its sum with a bound, below."""
    airs = [lot(40, seed) for seed in (1, 2, 3)]
    proven = [least_worst(make_table(Powers(air)), solver=False) for air in airs]
    if not all(one.proven for one in proven):
        raise RuntimeError("the worst margin of forty cameras is not proven")
    sums = choose(make_table(Powers(airs[0])), solver=False)
    peers = [Contender("the whole plan, without the solver", lambda: make_plan(airs[0], solver=False), rounds=1)]
    if solving.installed():
        peers.append(Contender("the whole plan with CP-SAT", lambda: make_plan(airs[0]), rounds=1))
    return Case(
        ours=Contender("worst margin proven", lambda: least_worst(make_table(Powers(airs[0])), solver=False)),
        peers=tuple(peers),
        at_most_s=1.0,
        note=f"Proven on three lots, worst shortfalls {', '.join(str(one.worst) for one in proven)} dB, by search and "
        f"cliques alone. Sum {sums.total} dB, not below {sums.total_bound} dB.",
    )
