"""The moments of a stop pull that stand on the screen and on paper."""

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tapehook.prep.stop_pull_moments import MOMENTS, picked_moments
from tests.prep.test_stop_pull import prepared


@given(st.integers(1, 400))
def test_few_moments_with_both_ends(count: int) -> None:
    """At most thirteen of any number of samples, none twice, in order, from the first to the last."""
    made = prepared()
    times = made.pull.times_s
    wanted = np.linspace(0, times.size - 1, count).astype(int)
    fields = ("times_s", "t_stops", "iris_positions", "densities", "extra_deg", "extra_percent", "error_stops")
    pull = replace(made.pull, **{name: getattr(made.pull, name)[wanted] for name in fields})
    pull = replace(pull, times_s=np.arange(count) / 10.0)
    told = [float(one.time.removesuffix(" s")) for one in picked_moments(replace(made, pull=pull))]
    assert len(told) == min(count, MOMENTS)
    assert told == sorted(set(told))
    assert (told[0], told[-1]) == (0.0, (count - 1) / 10.0)


def test_a_moment_is_the_sample_it_names() -> None:
    """Each figure is that of one sample of the pull, with its unit."""
    made = prepared()
    for one in picked_moments(made):
        at = int(np.argmin(np.abs(made.pull.times_s - float(one.time.removesuffix(" s")))))
        assert one.stop == f"T{made.pull.t_stops[at]:.3g}"
        assert one.extra_percent == f"{made.pull.extra_percent[at]:.1f} %"
        assert one.filter_deg == f"{made.pull.extra_deg[at]:.1f}°"
        assert one.density == f"{made.pull.densities[at]:.2f}"
        assert one.iris.endswith("°")
        assert one.error == f"+- {made.pull.error_stops[at]:.2f}"
