"""A lens on an extender in the main job: its budget, what is said, and silence without one."""

import math
from typing import Any

import pytest

from tapehook.job import Filter, Job
from tapehook.prep import prepare
from tapehook.prep.as_json import prep_as_json
from tapehook.prep.extender import extended_lens
from tests.prep.jobs import a_job, a_lens, read_off


def _job(**lens: Any) -> Job:  # noqa: ANN401 - any field
    return a_job([a_lens(blur_floor_mm=None, **lens)], read_off(noise_deg=0.02)).model_copy(
        update={"shooting_stop": "T4"}
    )


def test_the_share_is_multiplied_by_the_factor() -> None:
    """Depth behind an extender is 1/x at the same ring: T2 on the ring of a T2 lens works at T4 and uses twice."""
    (entry,) = prepare(_job(extender=2.0, extender_length_mm=30.0)).lenses
    found = extended_lens(entry)
    assert found is not None
    assert (found.set_to.text, found.works_at.text) == ("T2", "T4")
    assert found.focal_m == pytest.approx(0.1)
    assert found.own == pytest.approx(2.0 * entry.budgets[0].budget.worst_own, rel=1e-9)
    assert found.bare == entry.budgets[1].budget.worst_own


def test_a_blur_floor_is_magnified() -> None:
    """Of 25 that pass on the sensor 12.5 are left behind the lens, and its own 5 in squares off that."""
    job = a_job([a_lens(extender=2.0)], read_off(noise_deg=0.02))
    (entry,) = prepare(job).lenses
    found = extended_lens(entry)
    assert found is not None
    room = math.sqrt(25.0**2 - 5.0**2) / math.sqrt(12.5**2 - 5.0**2)
    assert found.own == pytest.approx(room * entry.budgets[0].budget.worst_own, rel=1e-9)


def test_glass_behind_the_extender_counts_less() -> None:
    """t (n - 1)/n moves the sensor's image: x squared less behind the lens, a half of its share with a 2x."""
    gel = Filter(id="gel", kind="other", thickness_mm=0.1, refractive_index=1.5)
    job = _job(extender=2.0, rear_filter="gel").model_copy(update={"filters": (gel,)})
    (entry,) = prepare(job).lenses
    found = extended_lens(entry)
    assert found is not None
    shares = {
        term.name: (float(own.max()), float(bare.max()))
        for term, own, bare in zip(found.budget.terms, found.budget.shares, entry.budgets[0].budget.shares, strict=True)
    }
    glass, reading = shares["glass behind the lens"], shares["reading"]
    assert glass[0] / glass[1] == pytest.approx(0.5)
    assert reading[0] / reading[1] == pytest.approx(2.0)


def test_it_is_said_with_figure_stop_and_next_step() -> None:
    """One sentence, one figure, what to do; and the same in JSON."""
    prep = prepare(_job(extender=2.0, extender_length_mm=30.0))
    (finding,) = (one for one in prep.findings if one.code == "extender.share")
    assert "With the 2x extender it is 100 mm, and T2 on its ring works at T4" in finding.message
    assert "30 mm nearer the subject" in finding.message
    assert finding.figure is not None
    assert finding.figure.stop == "T4"
    shown = prep_as_json(prep)["lenses"]["L1"]["extender"]
    assert shown["lens_depth_used_percent"] == pytest.approx(finding.figure.value)
    assert finding.next_step


def test_without_one_nothing_is_said() -> None:
    """A lens without an extender is as it was."""
    prep = prepare(_job())
    assert not [one for one in prep.findings if one.code.startswith("extender")]
    assert prep_as_json(prep)["lenses"]["L1"]["extender"] is None
