"""Findings: one shape for all checks, no share without its stop, the worst first."""

import json
import math

import pytest

from tapehook.finding import DEPTH_USED_UNIT, SIGN, Figure, Finding, Severity, sort_findings


def _finding(severity: Severity, used: float | None = None, code: str = "a.b", subject: str = "lens L1") -> Finding:
    figure = None if used is None else Figure(used, DEPTH_USED_UNIT, stop="T2")
    return Finding(code, severity, subject, "It is so.", "Do this.", figure)


@pytest.mark.parametrize("stop", [None, ""])
def test_no_share_without_its_stop(stop: str | None) -> None:
    """A depth used that names no stop means nothing, and cannot be made."""
    with pytest.raises(ValueError, match="stop"):
        Figure(47.0, DEPTH_USED_UNIT, stop=stop)


def test_other_figures_need_no_stop() -> None:
    """A figure in degrees or millimetres stands by itself."""
    assert Figure(0.2, "deg", plus_minus=0.1).as_json() == {
        "value": 0.2,
        "unit": "deg",
        "plus_minus": 0.1,
        "stop": None,
    }


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_figures_without_a_number_are_null_in_json(value: float) -> None:
    """JSON has no infinity: such a figure is null there, so that any reader can read it."""
    figure = Figure(value, DEPTH_USED_UNIT, stop="T2")
    assert figure.as_json()["value"] is None
    json.dumps(_finding("fix", value).as_json(), allow_nan=False)


def test_json_has_every_field_in_a_fixed_order() -> None:
    """The keys of a finding are stable: programs read them."""
    whole = Finding("map.one_way", "watch", "lens L1", "m", "n", Figure(1.0, "deg"), lens_id="L1", camera="A")
    assert list(whole.as_json()) == [
        "code", "severity", "subject", "message", "next_step", "figure", "lens_id", "camera",
    ]  # fmt: skip
    assert whole.as_json()["figure"] == {"value": 1.0, "unit": "deg", "plus_minus": None, "stop": None}
    assert _finding("info").as_json()["figure"] is None


def test_worst_first() -> None:
    """Fix before watch before info; within one severity the larger share first; then subject and code."""
    expected = [
        _finding("fix", math.inf),
        _finding("fix", 130.0),
        _finding("fix", 101.0),
        _finding("fix", subject="lens L1", code="a"),
        _finding("fix", subject="lens L1", code="b"),
        _finding("fix", subject="lens L2", code="a"),
        _finding("watch", 80.0),
        _finding("watch"),
        _finding("info", 20.0),
        _finding("info"),
    ]
    mixed = expected[1::2] + expected[::2]
    assert mixed != expected
    assert sort_findings(mixed) == expected


def test_only_shares_rank_findings() -> None:
    """Ten millimetres are not worse than a share of 5 %: figures of other units do not rank."""
    length = Finding("a", "fix", "lens L1", "m", "n", Figure(10.0, "mm"))
    share = Finding("a", "fix", "lens L2", "m", "n", Figure(5.0, DEPTH_USED_UNIT, stop="T2"))
    assert sort_findings([length, share]) == [share, length]


def test_sorting_is_stable_and_takes_any_iterable() -> None:
    """Findings that rank equal keep the order they were found in; nothing sorts to nothing."""
    twins = [Finding("a", "info", "job", f"{i}", "n") for i in range(5)]
    assert sort_findings(iter(twins)) == twins
    assert sort_findings([]) == []


def test_each_severity_has_its_own_sign() -> None:
    """No severity is told by colour alone: three words, three signs."""
    assert set(SIGN) == {"fix", "watch", "info"}
    assert len(set(SIGN.values())) == 3
