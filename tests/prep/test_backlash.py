"""What is said of the backlash: its share of the depth, how sure, and which way to arrive."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from tapehook.finding import DEPTH_USED_UNIT, Finding
from tapehook.job import Job, Reading
from tapehook.job.records import Approach
from tapehook.prep import prepare
from tapehook.prep.as_json import maps_as_json
from tests.prep.jobs import a_job, a_lens, read_off


def _job(play_deg: float, *, noise_deg: float = 0.03, **options: Any) -> Job:  # noqa: ANN401 - any option of a reading
    return a_job(readings=read_off(play_deg=play_deg, noise_deg=noise_deg, **options))


def _found(job: Job) -> list[Finding]:
    return [finding for finding in prepare(job).findings if finding.code == "backlash.share"]


def _only(job: Job) -> Finding:
    (finding,) = _found(job)
    return finding


def _noisier(readings: Sequence[Reading], way: Approach, sd_deg: float) -> tuple[Reading, ...]:
    """The readings of one way with so much more noise."""
    rng = np.random.default_rng(4)
    return tuple(
        r.model_copy(update={"position": r.position + rng.normal(0.0, sd_deg)}) if r.approach == way else r
        for r in readings
    )


def test_backlash_worth_saying_is_said() -> None:
    """A degree of play on a 50 mm T2: its size with +-, the pairs, the share of half of it at the stop, what to do."""
    finding = _only(_job(1.0))
    for part in ("Backlash 0.99° +- ", "10 marks read both ways", "of the depth at T2"):
        assert part in finding.message
    assert finding.figure is not None
    assert (finding.figure.unit, finding.figure.stop) == (DEPTH_USED_UNIT, "T2")
    assert finding.figure.plus_minus is not None
    assert finding.figure.plus_minus < 0.2 * finding.figure.value
    assert "same way" in finding.next_step


def test_the_share_is_that_of_half_the_play() -> None:
    """Twice the play is twice the share, and the JSON of the map says the same as the finding."""
    shares = []
    for play in (0.5, 1.0):
        job = _job(play, noise_deg=0.001)
        finding = _only(job)
        assert finding.figure is not None
        shares.append(finding.figure.value)
        backlash = maps_as_json(prepare(job))["lenses"]["L1"]["backlash"]
        assert backlash["stop"] == "T2"
        assert backlash["depth_used"] == pytest.approx(finding.figure.value / 100.0, rel=1e-6)
        assert backlash["value"] == pytest.approx(play, abs=0.01)
    assert shares[1] == pytest.approx(2.0 * shares[0], rel=0.01)


def test_severity_by_share() -> None:
    """All the depth is a fix, a quarter to be watched, a tenth to be known; a lens with none is not spoken of."""
    by_play = {play: {f.severity for f in _found(_job(play, noise_deg=0.005))} for play in (0.0, 0.5, 1.5, 6.0)}
    assert by_play[0.0] == set()
    given = [severity for play in (0.5, 1.5, 6.0) for severity in by_play[play]]
    assert given == ["info", "watch", "fix"]


def test_per_cent_of_travel_is_said_beside_per_cent_of_depth() -> None:
    """A read-out in per cent has two kinds of per cent in the sentence, and says which is which."""
    lens = a_lens(unit="percent", units_per_turn=100.0)
    finding = _only(a_job([lens], read_off(play_deg=1.0, noise_deg=0.03, units_per_deg=100.0 / 360.0)))
    assert "% of travel from 10 marks" in finding.message
    assert "of travel" not in _only(_job(1.0)).message


def test_who_mends_it() -> None:
    """A technician is named where it is to be watched or mended; where it may be chance nobody is to touch anything."""
    assert "technician" in _only(_job(6.0)).next_step
    assert "technician" not in _only(_job(0.6)).next_step
    doubtful = a_job([a_lens(t_stop=0.7, blur_floor_mm=None)], read_off(play_deg=0.4, noise_deg=0.6, seed=6))
    finding = _only(doubtful)
    assert finding.figure is not None
    assert finding.figure.plus_minus is not None
    assert finding.figure.plus_minus > finding.figure.value
    assert finding.next_step.endswith("It may be nothing: read more marks both ways before anybody touches the gears.")


@pytest.mark.parametrize("ways", [("near_to_far",), ("far_to_near",), (None,)])
def test_read_one_way_it_is_not_known(ways: tuple[Approach | None]) -> None:
    """No finding on a backlash nobody measured, null in JSON, and an assumption that says what is taken instead."""
    prep = prepare(_job(1.0, ways=ways))
    assert [f for f in prep.findings if f.code == "backlash.share"] == []
    assert maps_as_json(prep)["lenses"]["L1"]["backlash"] is None
    assert any("centre of the play is not known" in said for said in prep.lens("L1").assumptions)


def test_what_may_be_chance_is_not_said() -> None:
    """Play smaller than its own standard deviation is not spoken of, however much of the depth it would take."""
    wide_open = a_lens(t_stop=0.7, blur_floor_mm=None)
    readings = read_off(play_deg=0.0, noise_deg=0.3, seed=3)
    prep = prepare(a_job([wide_open], readings))
    entry = prep.lens("L1")
    assert entry.play is not None
    assert abs(entry.play.value) < entry.play.sd
    assert [f for f in prep.findings if f.code == "backlash.share"] == []


def test_without_a_stop_there_is_no_share() -> None:
    """Nothing to hold it against."""
    assert _found(a_job([a_lens(t_stop=None)], read_off(play_deg=1.0), shooting_stop=None)) == []


@pytest.mark.parametrize(
    "noisy, steady",
    [("near_to_far", "far to near"), ("far_to_near", "near to far")],
)
def test_the_steadier_way_is_recommended(noisy: Approach, steady: str) -> None:
    """Where readings of one way scatter far more than those of the other, arrive the other way."""
    job = a_job(readings=_noisier(read_off(play_deg=1.0, noise_deg=0.02), noisy, 0.3))
    assert f"turning from {steady}, always" in _only(job).next_step


def test_equal_ways_are_not_told_apart() -> None:
    """With readings alike either way none is preferred: the same way, always."""
    assert "the same way, always" in _only(_job(1.0)).next_step


def test_chance_names_no_way() -> None:
    """Of 60 lenses read equally well either way at most two are told to arrive one way rather than the other."""
    told = [_only(_job(1.0, noise_deg=0.1, seed=seed)).next_step for seed in range(60)]
    assert sum("steadier" in step for step in told) <= 2


def test_few_pairs_do_not_choose_a_way() -> None:
    """Seven marks cannot tell which way is steadier."""
    distances = (0.6, 0.7, 0.85, 1.0, 1.8, 4.0, 8.0)
    job = a_job(readings=_noisier(read_off(distances, play_deg=1.0, noise_deg=0.02), "near_to_far", 0.3))
    assert "the same way, always" in _only(job).next_step


def test_backlash_and_its_sd_come_back() -> None:
    """Over 60 lenses with 0.5 degrees of play the mean comes back, and errors over their sd have rms near one."""
    errors, scaled = [], []
    for seed in range(60):
        play = prepare(_job(0.5, noise_deg=0.12, seed=seed)).lens("L1").play
        assert play is not None
        errors.append(play.value - 0.5)
        scaled.append(errors[-1] / play.sd)
    assert abs(np.mean(errors)) < 0.025
    assert 0.75 < float(np.sqrt(np.mean(np.square(scaled)))) < 1.25
