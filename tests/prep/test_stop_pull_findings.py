"""Findings of a stop pull: each limit says how bad it is and what to do; what forbids a pull is told as that."""

from typing import Any

import pytest

from tapehook.prep.stop_pull_findings import largest_error, limit_finding, stop_pull_findings
from tests.prep.test_stop_pull import prepared


def by_code(**plan: Any) -> dict[str, Any]:  # noqa: ANN401 - any key of a plan
    """The findings of a plan by code; of several with one code the worst."""
    found: dict[str, Any] = {}
    for finding in stop_pull_findings(prepared(**plan)):
        found.setdefault(finding.code, finding)
    return found


def test_a_pull_that_works_forbids_nothing() -> None:
    """T2 to T8 with the pair: limits hold, only the error passes its tolerance, and the way to less of it is named."""
    found = by_code(iris_speed_deg_s=200.0, extra_speed_deg_s=120.0)
    assert {code: one.severity for code, one in found.items()} == {
        "stop_pull.error": "watch",
        "stop_pull.density": "info",
        "stop_pull.iris_range": "info",
        "stop_pull.iris_speed": "info",
        "stop_pull.extra_speed": "info",
        "stop_pull.caution": "info",
    }
    assert all(one.lens_id == "L05" and one.subject == "stop pull x" for one in found.values())
    assert found["stop_pull.density"].figure.stop == "T2 to T8"


@pytest.mark.parametrize(
    "plan, code, words",
    [
        (
            {"filter": "table", "course": [{"at_s": 0.0, "stop": "T2"}, {"at_s": 6.0, "stop": "T22"}]},
            "stop_pull.density",
            "The largest change that works from T2 is to T11",
        ),
        (
            {"course": [{"at_s": 0.0, "stop": "T8"}, {"at_s": 6.0, "stop": "T32"}]},
            "stop_pull.iris_range",
            "Read the iris of L05 where the pull goes.",
        ),
        (
            {"course": [{"at_s": 0.0, "stop": "T2"}, {"at_s": 0.1, "stop": "T8"}], "extra_speed_deg_s": 60.0},
            "stop_pull.extra_speed",
            "All of it works over",
        ),
    ],
)
def test_what_forbids_it_is_to_be_put_right(plan: dict[str, Any], code: str, words: str) -> None:
    """Too dense, beyond what was read, too fast: each is a fix, with its figure and the step that helps."""
    finding = by_code(**plan)[code]
    assert finding.severity == "fix"
    assert words in finding.next_step
    assert finding.figure.value > 0


def test_the_largest_error_is_named_with_what_lessens_it() -> None:
    """With densities sure to 0.001 the filter's table is no more what counts most, and the step is another."""
    vague, sure = prepared(density_plus_minus=0.05), prepared(density_plus_minus=0.001)
    assert largest_error(vague).name == "filter table"
    assert largest_error(sure).name != "filter table"
    (of_vague, of_sure) = (limit_finding(one.pull.limits[-1], one) for one in (vague, sure))
    assert "eight to twelve angles" in of_vague.next_step
    assert f"the {largest_error(sure).name}" in of_sure.next_step
