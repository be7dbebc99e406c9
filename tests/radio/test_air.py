"""Margins: against a second computation by hand, and what must hold whatever stands where."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.radio.air import Air, Emitter, Network, Place, margins_db, third_order
from tapehook.radio.channels import IEEE_915, IEEE_2450, WIFI_2, Channel, channel
from tapehook.radio.masks import RadioKind, coupling_db, mask_share
from tapehook.radio.powers import Powers

KIND = RadioKind()
OPTIONS = tuple(channel(IEEE_2450, k) for k in (11, 12, 13, 15, 20, 26))


def network(letter: str, x: float, options: tuple[Channel, ...] = OPTIONS, kind: RadioKind = KIND) -> Network:
    """A camera at ``x`` with its hand unit 10 m in front."""
    return Network(letter, kind, (Place(x, 10.0),), (Place(x, 0.0),), options)


def test_alone_the_margin_is_what_stands_above_the_sensitivity() -> None:
    """At 10 m P.1411 loses less than free space, so that stands: 10 - 10 - 60.02 + 85 = 24.98 dB at 2405 MHz."""
    air = Air((network("A", 0.0),))
    loss = max(21.2 + 29.2 + 21.1 * math.log10(2.405), 32.4 + 20 * math.log10(2405) - 40)
    (there, back) = margins_db(air, {"A": OPTIONS[0]})["A"]
    assert there == pytest.approx(85.0 - loss)
    assert back == there


def test_rejection_is_what_the_standard_tests() -> None:
    """A wanted signal 3 dB above sensitivity and an adjacent sender of equal strength leave a margin of nothing."""
    coupling = coupling_db(KIND, OPTIONS[0], OPTIONS[1].centre_mhz, 2.0)
    wanted = -82.0
    power = 10 ** (KIND.floor_dbm / 10) + 10 ** ((wanted - coupling) / 10)
    assert wanted - KIND.protection_db - 10 * math.log10(power) == pytest.approx(0.0, abs=0.02)


def test_wifi_on_the_same_channel_gives_a_tenth() -> None:
    """10 log10(2/20) = -10 dB falls into 2 MHz from a 20 MHz signal."""
    assert 10 * math.log10(mask_share(2437.0, 20.0, 2434.0, 2436.0)) == pytest.approx(-10.0, abs=0.01)
    assert 10 * math.log10(mask_share(2437.0, 20.0, 2456.99, 2457.01) * 20 / 0.02) == pytest.approx(-28.0, abs=0.01)


def test_the_sum_in_milliwatts_by_a_second_way() -> None:
    """Three networks and an emitter, each power added by hand here: the same margins."""
    air = Air(
        (network("A", 0.0), network("B", 6.0), network("C", 15.0)),
        (Emitter("video", 2437.0, 20.0, 20.0, Place(3.0, -5.0), ofdm=True),),
        "free_space",
        5.0,
    )
    plan = {"A": OPTIONS[0], "B": OPTIONS[1], "C": OPTIONS[3]}
    found = margins_db(air, plan)
    for one in air.networks:
        for at, (sender, receiver) in enumerate(one.links):
            own = plan[one.letter]
            loss = (
                32.4
                + 20 * math.log10(own.centre_mhz)
                + 20 * math.log10(math.dist(*_points(sender.place, receiver)) / 1e3)
            )
            noise = 10 ** ((KIND.sensitivity_dbm - 6.0) / 10)
            for other in air.networks:
                if other is one:
                    continue
                far = plan[other.letter]
                near = min(math.dist(*_points(place, receiver)) for place in (*other.hands, *other.receivers))
                level = 10.0 - 32.4 - 20 * math.log10(far.centre_mhz) - 20 * math.log10(near / 1e3)
                steps = abs(far.centre_mhz - own.centre_mhz) / 5.0
                noise += 10 ** ((level - (6.0 + 3.0103 + (0.0 if steps < 1.5 else 30.0))) / 10)
            wifi = air.emitters[0]
            level = (
                20.0 - 32.4 - 20 * math.log10(2437) - 20 * math.log10(math.dist(*_points(wifi.place, receiver)) / 1e3)
            )
            noise += 10 ** ((level - coupling_db(KIND, own, 2437.0, 20.0, ofdm=True)) / 10)
            assert found[one.letter][at] == pytest.approx(10.0 - 5.0 - loss - 6.0 - 10 * math.log10(noise), abs=0.05)


def _points(a: Place, b: Place) -> tuple[tuple[float, float], tuple[float, float]]:
    return (a.x_m, a.y_m), (b.x_m, b.y_m)


@given(st.floats(-50, 50), st.floats(-50, 50), st.sampled_from(OPTIONS), st.sampled_from(OPTIONS))
def test_more_on_the_air_never_raises_a_margin(x: float, y: float, one: Channel, two: Channel) -> None:
    """Another network, or an emitter, only takes; and a pair alone is never worse than all together."""
    quiet = Air((network("A", 0.0), network("B", x)))
    wifi = channel(WIFI_2, 6)
    loud = Air(quiet.networks, (Emitter("W", wifi.centre_mhz, 20.0, 20.0, Place(x, y), ofdm=True),))
    plan = {"A": one, "B": two}
    alone, both = margins_db(quiet, {"A": one})["A"], margins_db(quiet, plan)["A"]
    assert (both <= alone + 1e-9).all()
    assert (margins_db(loud, plan)["A"] <= both + 1e-9).all()
    k, other = OPTIONS.index(one), OPTIONS.index(two)
    powers = Powers(loud)
    assert powers.pair_db(0, 1)[k, other] == pytest.approx(both.min())
    assert powers.alone_db(0)[k] == pytest.approx(margins_db(loud, {"A": one})["A"].min())
    assert powers.margins_db([k, other])[0] == pytest.approx(margins_db(loud, plan)["A"])
    moved = [margins_db(loud, {**plan, "A": other_one}) for other_one in OPTIONS]
    worst = [min(float(row.min()) for row in all_.values()) for all_ in moved]
    assert powers.worst_when_moved_db([k, other], 0) == pytest.approx(np.array(worst))


def test_another_band_is_better_than_another_channel() -> None:
    """A and B camera side by side: on 915 MHz beside 2450 MHz both have more margin than two channels apart."""
    air = Air((network("A", 0.0), network("B", 3.0)))
    near = margins_db(air, {"A": OPTIONS[0], "B": OPTIONS[2]})["A"].min()
    apart = margins_db(air, {"A": OPTIONS[0], "B": channel(IEEE_915, 6)})["A"].min()
    assert apart > near + 5.0


def test_third_order_products_are_told_near_by_only() -> None:
    """2 x 2410 - 2405 = 2415 MHz: on channel 13 of a third camera, from senders a metre apart, not from afar."""
    plan = {"A": OPTIONS[0], "B": OPTIONS[1], "C": OPTIONS[2]}
    close = {"A": [Place()], "B": [Place(1.0)], "C": [Place(50.0)]}
    (found,) = third_order(plan, close)
    assert (found.letter, found.frequency_mhz, found.senders) == ("C", 2415.0, ("A", "B"))
    assert third_order(plan, {**close, "B": [Place(20.0)]}) == []


def test_each_sender_counts_with_its_own_power_and_a_network_with_its_strongest() -> None:
    """A weak receiver beside a hand unit of 20 dBm: the others hear the 20 dBm, its own answer is the weak one."""
    weak = RadioKind(eirp_dbm=0.0)
    loud = Network("B", weak, (Place(5.0, 10.0),), (Place(5.0, 0.0),), OPTIONS, (20.0, 0.0))
    quiet = Network("B", weak, (Place(5.0, 10.0),), (Place(5.0, 0.0),), OPTIONS)
    plan = {"A": OPTIONS[0], "B": OPTIONS[2]}
    first = network("A", 0.0)
    there, back = margins_db(Air((first, loud)), plan)["B"]
    assert there - back == pytest.approx(20.0, abs=1.0)
    (at_camera, at_hand) = Air((first, loud)).from_network_dbm(first, loud, OPTIONS[2])
    (_, hand_before) = Air((first, quiet)).from_network_dbm(first, quiet, OPTIONS[2])
    assert at_hand == pytest.approx(hand_before + 20.0)
    # At the camera the strong hand unit, farther off, still arrives stronger than the weak receiver close by.
    apart_db = 20 * math.log10(math.hypot(5, 10) / 5)
    assert at_camera == pytest.approx(20.0 - apart_db - (32.4 + 20 * math.log10(2415) - 60 + 20 * math.log10(5)))
