"""Near and far limits of millions of combinations, beside a pass that only moves the same bytes."""

import numpy as np
import numpy.typing as npt

from speed.harness import Case, Contender, case
from tapehook.optics import Pupil, depth_limits, depth_of_field

Floats = npt.NDArray[np.float64]
Inputs = tuple[Floats, Floats, Floats, Floats, Floats, Floats]
"""Distance, focal length, f-number, blur, entrance pupil to sensor, pupil magnification."""

COMBINATIONS = 10_000_000
MOVING = "NumPy, one pass over the same bytes"
SEED = 4201


@case("Depth limits, 10 million combinations")
def every_one_different() -> Case:
    """Each combination has a distance, a lens and a stop of its own: 480 MB in, 160 MB out."""
    rng = np.random.default_rng(SEED)
    count = COMBINATIONS
    inputs: Inputs = (
        rng.uniform(0.6, 30.0, count),
        rng.uniform(0.014, 0.2, count),
        rng.uniform(1.3, 16.0, count),
        rng.uniform(10e-6, 30e-6, count),
        rng.uniform(0.04, 0.15, count),
        rng.uniform(0.6, 2.5, count),
    )
    d, f, n, c, e, p = (a[: count // 10] for a in inputs)
    whole = Contender(
        "tapehook, depth_of_field: all figures, whole arrays",
        lambda: depth_of_field(d, f, n, c, Pupil(e, p)),
        share=0.1,
    )
    return _case(inputs, (count,), whole, "Six inputs, each an array of full length, and two results.")


@case("Depth limits, 10 million combinations as a table")
def a_table() -> Case:
    """Lenses by stops by distances: the inputs are short axes, and only the results are large."""
    rng = np.random.default_rng(SEED)
    lenses, stops, distances = 200, 25, COMBINATIONS // 5_000
    of_lens = (lenses, 1, 1)
    inputs: Inputs = (
        np.geomspace(0.6, 100.0, distances),
        rng.uniform(0.014, 0.2, of_lens),
        np.geomspace(1.3, 22.0, stops)[:, None],
        np.array(25e-6),
        rng.uniform(0.04, 0.15, of_lens),
        rng.uniform(0.6, 2.5, of_lens),
    )
    note = f"{lenses} lenses by {stops} stops by {distances:,} distances, as axes that NumPy broadcasts."
    return _case(inputs, (lenses, stops, distances), None, note)


def _case(inputs: Inputs, shape: tuple[int, ...], further: Contender | None, note: str) -> Case:
    return Case(
        ours=Contender("tapehook, depth_limits", lambda: depth_limits(*inputs[:4], Pupil(*inputs[4:]))),
        peers=(Contender(MOVING, lambda: _pass(inputs, shape)), *((further,) if further else ())),
        at_most_times={MOVING: 8.0},
        note=f"{note} The pass adds the inputs up into two results of the same size, three to each: no square root, "
        "no division, four sums where depth has some thirty steps.",
    )


def _pass(inputs: Inputs, shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Read what depth reads and write what it writes."""
    d, f, n, c, e, p = inputs
    one, other = np.empty(shape), np.empty(shape)
    np.add(d, f, out=one)
    one += n
    np.add(c, e, out=other)
    other += p
    return one, other
