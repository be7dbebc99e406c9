"""What a scan heard, per channel."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tapehook.radio.air import Air, Network, Place, margins_db
from tapehook.radio.channels import IEEE_2450, channel
from tapehook.radio.masks import RadioKind
from tapehook.radio.powers import Powers
from tapehook.radio.scan import Scan, scan_of

CHANNEL = channel(IEEE_2450, 15)


def even(level_dbm: float, step_mhz: float = 0.1) -> Scan:
    """The same level in every step from 2400 to 2450 MHz."""
    return Scan(tuple((2400.0 + step_mhz * k, level_dbm) for k in range(round(50 / step_mhz) + 1)))


@pytest.mark.parametrize("step_mhz", [0.05, 0.1, 0.5, 1.0])
def test_the_power_in_a_channel_is_what_its_steps_hold(step_mhz: float) -> None:
    """2 MHz of steps of -90 dBm: -90 + 10 log10(2 / step)."""
    found = even(-90.0, step_mhz).level_dbm(CHANNEL)
    assert found == pytest.approx(-90.0 + 10 * math.log10(2.0 / step_mhz), abs=0.3)


def test_what_was_not_scanned_is_not_known() -> None:
    """Beyond its ends, and in a hole in its middle."""
    scan = even(-90.0)
    assert scan.level_dbm(channel(IEEE_2450, 26)) is None
    holed = Scan(tuple(one for one in scan.points if abs(one[0] - CHANNEL.centre_mhz) > 1.5))
    assert holed.level_dbm(CHANNEL) is None
    assert not holed.covers(CHANNEL)
    assert scan.covers(CHANNEL)


def test_a_scan_eats_margin_as_an_emitter_does() -> None:
    """Power at the floor of the receiver takes 3 dB, in the plain sum and in the table of powers."""
    kind = RadioKind()
    networks = (Network("A", kind, (Place(0.0, 10.0),), (Place(),), (CHANNEL,)),)
    # Alone in its channel: only what is inside counts.
    level = kind.floor_dbm - 10 * math.log10(21)
    scan = Scan(tuple((CHANNEL.centre_mhz - 1 + 0.1 * k, level) for k in range(21)))
    quiet, loud = Air(networks), Air(networks, scan=scan)
    plan = {"A": CHANNEL}
    lost = margins_db(quiet, plan)["A"] - margins_db(loud, plan)["A"]
    assert lost == pytest.approx([3.0, 3.0], abs=0.2)
    assert Powers(loud).margins_db([0])[0] == pytest.approx(margins_db(loud, plan)["A"])


@example([(2450.0, 0.0), (math.nextafter(2450.0, 3000.0), 0.0), (2451.0, 0.0)])
@example([(2450.0, 0.0), (math.nextafter(2450.0, 3000.0), 0.0)])
@given(st.lists(st.tuples(st.floats(2380, 2500), st.floats(-150, 10)), min_size=2, max_size=60))
def test_any_scan_counts_something_finite(points: list[tuple[float, float]]) -> None:
    """Points in any order and as often as they like: a power of nothing or more, never more than all that was heard."""
    try:
        scan = scan_of(points)
    except ValueError:
        assert len({at for at, _ in points}) < 2
        return
    heard = sum(10 ** (level / 10) for _, level in scan.points)
    assert 0.0 <= scan.counted_mw(RadioKind(), CHANNEL) <= heard * 1.3
