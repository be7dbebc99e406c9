"""The tables: figures to the last digit that matters, and text that no spreadsheet runs."""

import csv
import io
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.finding import Figure, Finding
from tapehook.handover.tables import render_tables
from tapehook.job import Job
from tapehook.prep import Prep, prepare


def rows(text: str) -> list[dict[str, str]]:
    """A table read back."""
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_names_of_the_tables(demo_prep: Prep) -> None:
    """Three tables; UTF-8 with a mark that spreadsheets know it by, line ends of RFC 4180."""
    tables = render_tables(demo_prep)
    assert list(tables) == ["marks.csv", "ring_positions.csv", "findings.csv"]
    assert all(text.startswith("\ufeff") and text.endswith("\r\n") for text in tables.values())
    assert render_tables(demo_prep) == tables


def test_marks_are_those_of_prep(demo_prep: Prep) -> None:
    """Every mark with position, error and shares beside their stops, to ten digits."""
    table = rows(render_tables(demo_prep)["marks.csv"])
    marks = [(entry, mark) for entry in demo_prep.lenses for mark in entry.marks]
    assert len(table) == len(marks)
    for row, (entry, mark) in zip(table, marks, strict=True):
        assert row["lens_id"] == entry.lens.id
        assert float(row["distance_m"]) == pytest.approx(mark.value, rel=1e-9)
        assert float(row["position"]) == pytest.approx(mark.position, rel=1e-9)
        assert float(row["off_the_map"]) == pytest.approx(mark.error, rel=1e-8)
        assert mark.used_widest is not None
        assert entry.widest is not None
        assert float(row["depth_used_percent_widest"]) == pytest.approx(100 * mark.used_widest, rel=1e-8)
        assert row["widest_stop"] == entry.widest.text
        assert row["check_again"] == ("yes" if mark.suspect else "no")


def test_ring_positions_are_those_of_prep(demo_prep: Prep) -> None:
    """Every round distance with its position and the half-width of its 95 % band."""
    table = rows(render_tables(demo_prep)["ring_positions.csv"])
    rounds = [(entry, row) for entry in demo_prep.lenses for row in entry.rounds]
    assert len(table) == len(rounds)
    for row, (entry, expected) in zip(table, rounds, strict=True):
        assert (row["lens_id"], row["system"], row["unit"]) == (entry.lens.id, expected.system, entry.lens.unit)
        assert float(row["position"]) == pytest.approx(expected.position, rel=1e-9)
        assert float(row["plus_minus_95"]) == pytest.approx(expected.plus_minus, rel=1e-8)
        assert math.isinf(float(row["distance_m"])) == math.isinf(expected.value)


def test_findings_are_those_of_prep(demo_prep: Prep) -> None:
    """All findings in their order, each share with its stop."""
    table = rows(render_tables(demo_prep)["findings.csv"])
    assert [(row["severity"], row["code"], row["message"]) for row in table] == [
        (finding.severity, finding.code, finding.message) for finding in demo_prep.findings
    ]
    assert all(row["stop"] for row in table if row["unit"] == "% of depth")


@given(st.text(max_size=30), st.sampled_from(["", "=", "+", "-", "@", " =", "\t", "＝", "\r"]))
def test_no_cell_of_text_is_a_formula(tail: str, start: str) -> None:
    """Whatever a name begins with, its cell does not begin as a formula, and the rest of it is kept."""
    text = start + tail
    finding = Finding("a.b", "info", text, text, text, Figure(-1.5, "um"))
    prep = replace(prepare(Job()), findings=(finding,))
    (row,) = rows(render_tables(prep)["findings.csv"])
    assert not row["subject"].lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))
    kept = text.encode("utf-8", "replace").decode().replace("\0", "")
    assert row["subject"].removeprefix("'") == kept.removeprefix("'")
    assert row["value"] == "-1.5"


def test_what_is_not_known_is_empty() -> None:
    """No figure: an empty cell, not a nought."""
    finding = Finding("a.b", "info", "job", "message", "next", Figure(math.inf, "um"))
    prep = replace(prepare(Job()), findings=(finding, replace(finding, figure=None)))
    first, second = rows(render_tables(prep)["findings.csv"])
    assert first["value"] == "inf"
    assert second["value"] == second["lens_id"] == ""
