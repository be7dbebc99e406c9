"""What no standard gives can be entered: it counts as it stands, and is no longer printed as assumed."""

import math
from pathlib import Path
from typing import Any

import pytest

from tapehook.job import JobProblems, read_job
from tapehook.job.records import Job, Radio
from tapehook.prep.radio import RadioPrep, plan_radio
from tapehook.prep.radio_findings import radio_findings
from tapehook.radio.links import links_of
from tapehook.radio.propagation import free_space_db


def _two(job: Any = None, **radio: Any) -> Job:  # noqa: ANN401 - keys of a job and of its radios
    """Two cameras 40 m apart on 2450 and 915 MHz, each hand unit 30 m from its receiver, in free space."""
    radios = [
        Radio(id=f"{letter}{role}", camera=letter, role=role, bands=bands, x_m=40.0 * at, y_m=y, **radio)
        for at, (letter, bands) in enumerate((("A", ["2450"]), ("B", ["2450", "915"])))
        for role, y in (("hand", 30.0), ("receiver", 0.0))
    ]
    return Job(region="US", surroundings="free_space", radios=tuple(radios), **(job or {}))


def _judged(job: Job, band: str, number: int) -> RadioPrep:
    """Camera A on channel 15 of 2450 MHz, camera B as said."""
    return plan_radio(job, judge={"A": ("2450", 15), "B": (band, number)})


def _margin(prep: RadioPrep) -> float:
    return min(link.margin_db for link in links_of(prep.air, prep.plan.channels)["A"])


def _worst_by_hand(protection_db: float, coupling_db: float, body_db: float = 10.0, far_mhz: float = 2425.0) -> float:
    """Margin of camera A from its definition: 10 dBm sent over 30 m, -85 dBm heard, and the other's 10 dBm from 40 m.

    The nearest of the other's radios is 40 m away from either end: hand from hand, receiver from receiver.
    """
    wanted = 10.0 - body_db - free_space_db(2425.0, 30.0)
    unwanted = 10.0 - free_space_db(far_mhz, 40.0) - coupling_db
    noise = -85.0 - protection_db
    return wanted - protection_db - 10.0 * math.log10(10.0 ** (noise / 10.0) + 10.0 ** (unwanted / 10.0))


@pytest.mark.parametrize("protection_db", [None, 0.0, 6.0, 14.0])
def test_how_far_a_signal_must_stand_above_its_channel_is_entered(protection_db: float | None) -> None:
    """Both cameras on one channel: the margin is that of the formula with the figure entered, 6 dB where none is."""
    said = {} if protection_db is None else {"co_channel_db": protection_db}
    wanted = _worst_by_hand(6.0 if protection_db is None else protection_db, 0.0)
    assert _margin(_judged(_two(**said), "2450", 15)) == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("rejection_db", [None, 10.0, 50.0, 90.0])
def test_how_another_band_is_rejected_is_entered(rejection_db: float | None) -> None:
    """Camera B on 915 MHz: beside the noise its power counts as the test of the standard has it, 3 dB and the
    protection further down than the rejection."""
    said = {} if rejection_db is None else {"other_band_db": rejection_db}
    coupling = (50.0 if rejection_db is None else rejection_db) + 6.0 + 10.0 * math.log10(2.0)
    wanted = _worst_by_hand(6.0, coupling, far_mhz=910.0)
    assert _margin(_judged(_two(**said), "915", 3)) == pytest.approx(wanted, abs=0.01)


def test_the_weakest_radio_of_a_camera_counts() -> None:
    """One radio that stands less is enough: the larger protection, the lesser rejection."""
    job = _two(co_channel_db=6.0, other_band_db=50.0)
    first, *rest = job.radios
    weak = first.model_copy(update={"co_channel_db": 12.0, "other_band_db": 20.0})
    (kind, _) = (one.kind for one in _judged(job.model_copy(update={"radios": (weak, *rest)}), "915", 3).air.networks)
    assert (kind.protection_db, kind.other_band_db) == (12.0, 20.0)


@pytest.mark.parametrize("body_db", [0.0, 25.0])
def test_what_a_body_takes_is_entered(body_db: float) -> None:
    """Each wanted signal loses that much in place of 10 dB."""
    preps = [_judged(_two(job), "2450", 26) for job in (None, {"body_loss_db": body_db})]
    plain, said = (links_of(prep.air, prep.plan.channels)["A"] for prep in preps)
    for before, after in zip(plain, said, strict=True):
        assert before.alone_db - after.alone_db == pytest.approx(body_db - 10.0)


def test_what_is_entered_is_no_longer_assumed() -> None:
    """The three stand among the assumptions, each with its figure and its key, until they are entered."""
    keys = ("body_loss_db", "co_channel_db", "other_band_db")
    bare = " ".join(plan_radio(_two()).assumptions)
    assert all(key in bare for key in keys)
    assert all(f"{figure} dB" in bare for figure in (10, 6, 50))
    said = " ".join(plan_radio(_two({"body_loss_db": 12.0}, co_channel_db=8.0, other_band_db=40.0)).assumptions)
    assert not any(key in said for key in keys)


@pytest.mark.parametrize(
    "most, severity, words",
    [(None, "watch", "up to 3 are usual"), (2, "fix", "serves 2"), (4, None, ""), (50, None, "")],
)
def test_the_limit_of_receivers_is_a_setting(most: int | None, severity: str | None, words: str) -> None:
    """Four receivers: a watch where nobody said how many are served, a fix where fewer are, else nothing."""
    job = _two({} if most is None else {"most_receivers": most})
    more = tuple(Radio(id=f"more {at}", camera="A", role="receiver", x_m=1.0, y_m=float(at)) for at in range(3))
    prep = plan_radio(job.model_copy(update={"radios": (*job.radios, *more)}))
    found = [one for one in radio_findings(prep) if one.code == "radio-receivers"]
    assert [one.severity for one in found] == ([] if severity is None else [severity])
    assert all(words in one.message and "Camera A has 4 receivers" in one.message for one in found)


@pytest.mark.parametrize(
    "text, field",
    [
        ("most_receivers = 0", "most_receivers"),
        ("most_receivers = 2.5", "most_receivers"),
        ("most_receivers = 999", "most_receivers"),
        ("body_loss_db = -1", "body_loss_db"),
        ("body_loss_db = 200", "body_loss_db"),
        ('[[radios]]\nid = "r"\nco_channel_db = -3', "radios[1].co_channel_db"),
        ('[[radios]]\nid = "r"\nother_band_db = "much"', "radios[1].other_band_db"),
    ],
)
def test_figures_outside_sense_are_refused(tmp_path: Path, text: str, field: str) -> None:
    """In words that name the field, and nothing is planned."""
    (tmp_path / "lenses.csv").write_text("lens_id\nL1\n", encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position\n", encoding="utf-8")
    (tmp_path / "job.toml").write_text(text + "\n", encoding="utf-8")
    with pytest.raises(JobProblems) as caught:
        read_job(tmp_path)
    assert [problem.field for problem in caught.value.problems] == [field]
