"""Stop pulls written back: what is read is what was written, and the rest of the shot's file stays to the letter."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from tapehook.job.stop_pull_writing import stop_pull_text
from tapehook.job.stop_pulls import StopPullPlan, stop_pull_from
from tests.cli.running import ROOT

WINDOW = (ROOT / "src" / "tapehook" / "demo_job" / "shots" / "window.toml").read_text(encoding="utf-8")
LATER = '[[people]]\nname = "Ada" # stays\n'

stops = st.sampled_from(["T1.4", "T2", "T2.8 1/3", "T5.6", "T8"])
plans = st.builds(
    lambda name, on_hand, points, easing, lag: StopPullPlan.model_validate(
        {
            "lens": name,
            "filter": on_hand,
            "course": [{"at_s": 1.5 * at, "stop": stop} for at, stop in enumerate(points)],
            "easing": easing,
            "lag_between_ms": lag,
        }
    ),
    st.sampled_from(["L05", 'a "quoted" one', "[stop_pull]"]),
    st.sampled_from(["pair", "wedge\\", "# no comment"]),
    st.lists(stops, min_size=2, max_size=5),
    st.sampled_from(["even", "eased"]),
    st.none() | st.floats(0, 2000),
)
befores = st.sampled_from(
    [
        "",
        WINDOW,
        "# a head\n" + LATER,
        '[stop_pull]\nfilter = "x"\ncourse = [\n{ at_s = 0 }\n]\nmine = 3\n\n' + LATER,
        'note = """\n[stop_pull]\nno table\n"""\n' + LATER,
        "[[stop_pull.course]]\nat_s = 0\n[stop_pull.mine]\na = [\n[1],\n]\n" + LATER,
        "frames_per_second = 30\n",
    ]
)


@given(plan=plans, before=befores)
def test_what_is_written_is_read_and_the_rest_stays(plan: StopPullPlan, before: str) -> None:
    """The plan comes back from the text whatever stood there, and every other table says what it said."""
    text = stop_pull_text(plan, before)
    assert stop_pull_from(text.encode(), "x") == plan
    old, new = (tomllib.loads(one) for one in (before, text))
    assert {k: v for k, v in old.items() if k != "stop_pull"} == {k: v for k, v in new.items() if k != "stop_pull"}
    assert stop_pull_from(stop_pull_text(plan, text).encode(), "x") == plan


def test_comments_of_the_shot_stay() -> None:
    """Every line of the demo shot up to its stop pull is there again; taken out, nothing but the stop pull is gone."""
    plan = stop_pull_from(WINDOW.encode(), "window")
    head = WINDOW[: WINDOW.index("[stop_pull]")].rstrip()
    assert stop_pull_text(plan, WINDOW).startswith(head)
    assert stop_pull_text(None, WINDOW).strip() == head
    assert stop_pull_text(None, "") == ""
    assert 'lens = "L05"' not in stop_pull_text(plan, WINDOW)[len(head) :]
