"""Any job file with radios: a plan in the documented shape, or problems in words; never anything else."""

import json
import re
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.job import Emitter, Job, JobProblems, Radio
from tapehook.prep.radio import Taken, plan_radio
from tapehook.prep.radio_as_json import radio_as_json
from tapehook.prep.radio_pictures import bands_of, lot_of
from tapehook.radio import REGIONS
from tests.cli.shapes import misfits, schema

LEVELS = st.none() | st.floats(-200, 100)
PLACES = st.none() | st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
SHAPE = schema("radio")


@st.composite
def radios(draw: st.DrawFn) -> tuple[Radio, ...]:
    """Up to eight radios of up to four cameras, with anything a record takes."""
    found = []
    for at in range(draw(st.integers(0, 8))):
        place = draw(PLACES)
        fields: dict[str, Any] = {
            "camera": draw(st.sampled_from(["A", "B", "C", "<b>", None])),
            "role": draw(st.sampled_from(["hand", "receiver"])),
            "bands": draw(st.none() | st.lists(st.sampled_from(["780", "868", "915", "2450"]), max_size=4)),
            "power_dbm": draw(LEVELS),
            "sensitivity_dbm": draw(LEVELS),
            "adjacent_db": draw(LEVELS),
            "alternate_db": draw(LEVELS),
            "listens": draw(st.booleans()),
            "duty": draw(st.none() | st.floats(0.001, 1)),
            "x_m": None if place is None else place[0],
            "y_m": None if place is None else place[1],
        }
        found.append(Radio(id=f"R{at}", **fields))
    return tuple(found)


@st.composite
def emitters(draw: st.DrawFn) -> tuple[Emitter, ...]:
    """Up to five senders, Wi-Fi or by frequency."""
    found = []
    for at in range(draw(st.integers(0, 5))):
        place = draw(PLACES)
        fields: dict[str, Any] = {"kind": draw(st.sampled_from(["wifi", "video", "crew", "microphone", "other"]))}
        if draw(st.booleans()):
            fields["wifi_channel"] = draw(st.integers(1, 14))
        else:
            fields |= {"centre_mhz": draw(st.floats(1, 100_000)), "width_mhz": draw(st.floats(0.001, 1000))}
        fields |= {"power_dbm": draw(LEVELS)}
        if place is not None:
            fields |= {"x_m": place[0], "y_m": place[1]}
        found.append(Emitter(id=f"E{at}", **fields))
    return tuple(found)


@settings(max_examples=60, deadline=None)
@given(
    radios(),
    emitters(),
    st.sampled_from([*REGIONS, "US", "US", "US", "Atlantis", None]),
    st.booleans(),
    st.sampled_from(["free_space", "in_sight", "no_sight", "homes", None]),
    st.lists(st.builds(lambda low, wide: Taken(low, low + wide), st.floats(700, 2500), st.floats(0, 50)), max_size=2),
)
def test_any_job_is_planned_or_refused(
    some: tuple[Radio, ...],
    others: tuple[Emitter, ...],
    region: str | None,
    effects: bool,
    surroundings: Any,  # noqa: ANN401 - drawn
    taken: list[Taken],
) -> None:
    """The shape holds, figures are finite, nobody stands on a channel that is not offered, no effect has a distance."""
    job = Job(radios=some, emitters=others, region=region, fired_effects=effects, surroundings=surroundings)
    try:
        prep = plan_radio(job, taken=taken)
    except JobProblems as trouble:
        assert region not in REGIONS or not any(one.camera for one in some), trouble.problems  # noqa: PT017 - a reason to refuse
        return
    shape = json.loads(json.dumps(radio_as_json(prep), allow_nan=False))
    assert list(misfits(shape, SHAPE)) == []
    for letter, channel in prep.plan.channels.items():
        assert channel in prep.permits[letter]
        assert not any(one.touches(channel) for one in taken)
    if prep.plan.bound_db is not None and prep.plan.worst_margin_db is not None:
        assert prep.plan.worst_margin_db <= prep.plan.bound_db + 1e-6
    said = [*shape["cautions"], *(f"{one['message']} {one['next_step']}" for one in shape["findings"])]
    assert any("supervisor" in one for one in said) == effects
    about = [one for one in said if re.search("effects|igniter|detonator", one)]
    assert not [one for one in about if re.search(r"\d ?(m|ft|cm)\b", one)]
    spots, _ = lot_of(prep)
    assert spots
    assert len(bands_of(prep)) <= 4
