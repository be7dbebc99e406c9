"""What is said about readings that cannot be right: the row, the slip, what it should have said, what to do."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from tapehook.finding import DEPTH_USED_UNIT, Finding
from tapehook.job import Reading
from tapehook.lens.explanations import PRIOR
from tapehook.lens.slips import SlipKind
from tapehook.prep import prepare
from tapehook.prep.suspect_findings import _slip, _sure
from tapehook.prep.suspects import SuspectRow
from tests.prep.jobs import a_job, a_lens, read_off, with_slip

KINDS: tuple[SlipKind, ...] = tuple(PRIOR)
PLAIN = read_off()


def _found(readings: Sequence[Reading], **lens: Any) -> list[Finding]:  # noqa: ANN401 - any field of a lens
    job = a_job([a_lens(**lens)], readings)
    return [finding for finding in prepare(job).findings if finding.code == "map.suspect_mark"]


def _only(readings: Sequence[Reading], **lens: Any) -> Finding:  # noqa: ANN401 - any field of a lens
    (finding,) = _found(readings, **lens)
    return finding


def _written(readings: Sequence[Reading], value: float, text: str, instead: float) -> tuple[Reading, ...]:
    """The readings with another distance written for one mark."""
    return tuple(r.model_copy(update={"written": text, "value": instead}) if r.value == value else r for r in readings)


def test_a_clean_list_raises_nothing() -> None:
    """No slip, no finding."""
    assert _found(PLAIN) == []


def test_the_sentence_names_row_figure_and_stop() -> None:
    """Which mark, what it reads, what the others expect with its +-, how much of the depth, how sure, what was done."""
    finding = _only(with_slip(PLAIN, 1.3, 17.0))
    for part in (
        "The mark 1.3 m reads ",
        "the other marks expect ",
        " +- ",
        "of the depth at T2",
        "% sure",
        "left out",
    ):
        assert part in finding.message
    assert finding.message.endswith("left out.")
    assert finding.next_step == "Read 1.3 m again, both ways."
    assert finding.figure is not None
    assert (finding.figure.unit, finding.figure.stop) == (DEPTH_USED_UNIT, "T2")
    assert finding.lens_id == "L1"


def test_one_reading_is_named_by_its_way() -> None:
    """The way the ring was turned stands in the sentence, and "that reading" is left out, not the mark."""
    readings = tuple(
        r.model_copy(update={"position": r.position + 17.0}) if (r.value, r.approach) == (1.3, "far_to_near") else r
        for r in PLAIN
    )
    finding = _only(readings)
    assert "turned far to near," in finding.message
    assert finding.message.endswith("that reading is left out.")


def test_a_wrong_unit_is_said_with_both() -> None:
    """1.8 m written as feet: the message gives metres back, and the step is to look at the scale first."""
    finding = _only(_written(PLAIN, 1.8, "1.8'", 1.8 * 0.3048))
    assert "1.8'" in finding.message
    assert "wrong unit" in finding.message
    assert "1.8 m" in finding.message
    assert finding.next_step.startswith("Look at the scale")


def test_a_skipped_mark_tells_how_many_follow() -> None:
    """The rows after it are counted, and the scale is to be read again from there on."""
    order = sorted({r.value for r in PLAIN})
    there = {(r.value, r.approach): r.position for r in PLAIN}
    readings = tuple(
        r if r.value < 1.0 else r.model_copy(update={"position": there[order[order.index(r.value) + 1], r.approach]})
        for r in PLAIN
        if math.isfinite(r.value)
    )
    finding = _only(readings)
    assert finding.severity == "fix"
    assert "the 5 marks read after it" in finding.message
    assert "from 1 m on" in finding.next_step


def test_severity_follows_the_depth() -> None:
    """The same slip is to be acted on where it takes half the depth, and to be watched where it takes less."""
    readings = with_slip(read_off(noise_deg=0.02, play_deg=0.05), 2.5, 3.0)
    assert _only(readings).severity == "fix"
    small = _only(readings, focal_mm=18.0, pupil_to_sensor_mm=None, pupil_magnification=None, t_stop=16.0)
    assert small.figure is not None
    assert small.figure.value < 50.0
    assert small.severity == "watch"


def test_without_any_stop_there_is_no_share() -> None:
    """The finding stands, without a figure, and must be acted on: nobody can say that it does not matter."""
    job = a_job([a_lens(t_stop=None)], with_slip(PLAIN, 1.3, 17.0), shooting_stop=None)
    (finding,) = [f for f in prepare(job).findings if f.code == "map.suspect_mark"]
    assert finding.figure is None
    assert finding.severity == "fix"
    assert "of the depth" not in finding.message


ROW = SuspectRow(5, "5'", 1.524, "all", "worse_row", 0.9, 30.0, None, 45.5, 0)


@pytest.mark.parametrize("kind", KINDS)
def test_each_slip_has_its_words(kind: SlipKind) -> None:
    """Each kind says what it was and gives the value it should have had, in the unit it was written in."""
    by_distance = kind in {
        "feet_for_metres",
        "digits_swapped_distance",
        "inches_dropped",
        "decimal_feet",
        "skipped_mark",
    }
    row = replace(ROW, kind=kind, distance_m=1.6764 if by_distance else None, position=None if by_distance else 45.5)
    said = _slip(row, a_lens())
    wanted = "45.5°" if not by_distance else "1.68 m" if kind == "feet_for_metres" else "5'6\""
    assert wanted in said


@pytest.mark.parametrize("confidence, word", [(0.96, "probably"), (0.5, "probably"), (0.48, "perhaps")])
def test_what_is_less_likely_than_not_is_not_called_probable(confidence: float, word: str) -> None:
    """The word and the figure beside it say the same."""
    row = replace(ROW, kind="inches_dropped", distance_m=1.6764, position=None, confidence=confidence)
    assert f"its inches were {word} left out" in _slip(row, a_lens())


def test_nobody_is_ever_wholly_sure() -> None:
    """Even where one explanation has all the weight the sentence stops at over 99 %."""
    assert _sure(1.0) == "over 99 % sure"
    assert _sure(0.9) == "90 % sure"


def test_text_of_a_list_is_only_text() -> None:
    """What stands in the column of distances is quoted as it is, not read as anything else."""
    readings = _written(with_slip(PLAIN, 1.3, 17.0), 1.3, "<b>1.3 m</b>", 1.3)
    assert "<b>1.3 m</b>" in _only(readings).message
