"""What a link's margin is made of, and how far it carries."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.radio.air import Air, Emitter, Network, Place, margins_db
from tapehook.radio.channels import IEEE_915, IEEE_2450, channel
from tapehook.radio.links import NINETY_FIVE, links_of, reaches
from tapehook.radio.masks import RadioKind
from tapehook.radio.propagation import SHORT_PATHS, ShortPath, free_space_db

A, B = channel(IEEE_2450, 15), channel(IEEE_2450, 16)


def air(emitters: tuple[Emitter, ...] = (), *, both: bool = True) -> Air:
    """Two cameras 6 m apart, hand units 20 m off."""
    networks = tuple(
        Network(letter, RadioKind(), (Place(x, 20.0),), (Place(x, 0.0), Place(x, 1.0)), (A, B))
        for letter, x in (("A", 0.0), ("B", 6.0))
    )
    return Air(networks if both else networks[:1], emitters)


WIFI = Emitter("stage", 2437.0, 20.0, 20.0, Place(10.0, -5.0), ofdm=True)


def test_a_link_without_others_has_all_its_margin() -> None:
    """Alone: margin and alone_db are one, and nothing eats it; four ways for two receivers."""
    links = links_of(air(both=False), {"A": A})["A"]
    assert len(links) == 4
    for one in links:
        assert one.margin_db == pytest.approx(one.alone_db)
        assert one.eaters == ()


def test_what_eats_a_margin_is_what_it_gains_without() -> None:
    """Against the same sum without that sender, for another camera and an emitter, worst first."""
    plan = {"A": A, "B": B}
    links = links_of(air((WIFI,)), plan)["A"]
    assert [one.margin_db for one in links] == pytest.approx(margins_db(air((WIFI,)), plan)["A"].tolist())
    without = {
        "camera B": margins_db(air((WIFI,)), {"A": A})["A"],
        "stage": margins_db(air(), plan)["A"],
    }
    for at, one in enumerate(links):
        assert [eater.takes_db for eater in one.eaters] == sorted((e.takes_db for e in one.eaters), reverse=True)
        for eater in one.eaters:
            assert eater.takes_db == pytest.approx(float(without[eater.name][at]) - one.margin_db)


def test_reach_is_where_the_margin_is_gone() -> None:
    """At the median distance the model's loss leaves 0 dB; 95 % of places: 1.645 sd sooner; free space by hand."""
    here = air(both=False)
    links = links_of(here, {"A": A})["A"]
    found = {one.model: one for one in reaches(here, A, links)}
    assert set(found) == {"free_space", "two_ray", *SHORT_PATHS}
    room_db = 10.0 - 10.0 + 85.0
    free_m = 10 ** ((room_db - free_space_db(A.centre_mhz, 1.0)) / 20)
    assert found["free_space"].median_m == pytest.approx(free_m, rel=0.002)
    for name, path in SHORT_PATHS.items():
        one = found[name]

        def loss_db(distance_m: float, path: ShortPath = path) -> float:
            return max(path.loss_db(A.centre_mhz, distance_m), free_space_db(A.centre_mhz, distance_m))

        assert loss_db(one.median_m) == pytest.approx(room_db, abs=0.05)
        assert loss_db(one.sure_m) == pytest.approx(room_db - NINETY_FIVE * path.spread_db, abs=0.05)
        assert (one.spread_db, one.valid_to_m) == (path.spread_db, path.to_m)


@given(st.floats(-30, 30), st.sampled_from([IEEE_915, IEEE_2450]))
def test_more_power_never_reaches_less(power_dbm: float, standard: str) -> None:
    """Whatever is sent, reach grows with it and 95 % of places never reach beyond half of them."""
    own = channel(standard, 5 if standard == IEEE_915 else 15)
    last = 0.0
    for sent in (power_dbm, power_dbm + 3.0):
        network = Network("A", RadioKind(eirp_dbm=sent), (Place(0.0, 20.0),), (Place(),), (own,))
        here = Air((network,))
        found = reaches(here, own, links_of(here, {"A": own})["A"])
        assert all(0.0 <= one.sure_m <= one.median_m <= 10_000.0 for one in found)
        assert all(math.isfinite(one.median_m) for one in found)
        assert found[0].median_m >= last
        last = found[0].median_m


def test_a_sender_that_drowns_all_else_still_has_a_figure() -> None:
    """Power beside which the noise is lost in rounding: what it takes is finite and the margin's whole loss."""
    loud = Emitter("loud", A.centre_mhz, 2.0, 100.0, Place(0.0, 0.5))
    for one in links_of(air((loud,), both=False), {"A": A})["A"]:
        (eater,) = one.eaters
        assert eater.takes_db == pytest.approx(one.alone_db - one.margin_db)


def test_senders_of_one_name_all_count() -> None:
    """Somebody's sender may be called as a camera is, or as another: none hides another's power."""
    twice = tuple(Emitter("camera B", A.centre_mhz, 2.0, 0.0, Place(x, -5.0)) for x in (0.0, 3.0))
    plan = {"A": A, "B": B}
    links = links_of(air(twice), plan)["A"]
    assert [one.margin_db for one in links] == pytest.approx(margins_db(air(twice), plan)["A"].tolist())
