"""Lens maps, 10,000 at once, beside two libraries that fit such curves one by one."""

import importlib
import warnings
from collections.abc import Callable

import numpy as np

from speed.fleet import RELATIVE_VARIANCE, Fleet, Floats, fleet
from speed.harness import Case, Contender, case
from tapehook.lens import fit_splines
from tapehook.lens.map import Z95
from tapehook.lens.noise import USUAL_NOISE_DEG

LENSES, MARKS, POINTS = 10_000, 12, 41
FEW = 100
"""Lenses that a peer fits; its time is scaled up to all."""

_WHAT = (
    f"Marks to a map: fit, and the curve with its 95 % band at {POINTS} places between the outermost marks. The lenses "
    "are simulated: 90° to 330° of ring, reading noise of 0.05° to 0.30°, read both ways. The peers fit noise and "
    f"smoothness to each lens, as ours does; they do the first {FEW}. First how near each comes to the true curve, in "
    "degrees of ring, and how much of that curve its band covers:"
)

Curves = tuple[Floats, Floats]
"""Positions and half-widths of the 95 % band, degrees: two (B, G)."""
OneLens = Callable[[Floats, Floats, Floats], Curves]
"""From marks u and y (n,) and a grid (G,) to the curve and its half-width, two (G,)."""


@case("10,000 lens maps of 12 marks")
def lens_maps() -> Case:
    """Fit and a grid with its band, all lenses at once against one by one."""
    lenses = fleet(LENSES, MARKS, POINTS)
    ways: dict[str, Callable[[], Curves]] = {
        "scikit-learn, GaussianProcessRegressor": lambda: _one_by_one(lenses, gaussian_process()),
        "pygam, LinearGAM": lambda: _one_by_one(lenses, additive_model()),
    }
    return Case(
        ours=Contender("tapehook, batched", lambda: _batched(lenses)),
        peers=(
            Contender("tapehook, batched, the fit alone", lambda: _fit(lenses)),
            *(Contender(name, way, share=FEW / LENSES, rounds=3) for name, way in ways.items()),
        ),
        at_most_s=0.5,
        note=_note(lenses, ways),
    )


def _fit(lenses: Fleet) -> object:
    return fit_splines(lenses.u, lenses.y, RELATIVE_VARIANCE, USUAL_NOISE_DEG)


def _batched(lenses: Fleet) -> Curves:
    mean, sd = fit_splines(lenses.u, lenses.y, RELATIVE_VARIANCE, USUAL_NOISE_DEG).predict(lenses.grid)
    return mean, Z95 * sd


def _one_by_one(lenses: Fleet, one_lens: OneLens) -> Curves:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a fit that ends at a bound is a fit; printing costs time
        curves = [one_lens(u, y, lenses.grid) for u, y in zip(lenses.u[:FEW], lenses.y[:FEW], strict=True)]
    means, half_widths = zip(*curves, strict=True)
    return np.stack(means), np.stack(half_widths)


def gaussian_process() -> OneLens:
    """A smooth process with amplitude, length and noise fitted to each lens by likelihood, from one start."""
    process = importlib.import_module("sklearn.gaussian_process")
    kernels = process.kernels
    kernel = kernels.ConstantKernel(10.0, (1e-2, 1e5)) * kernels.RBF(1.0, (0.1, 30.0))
    kernel += kernels.WhiteKernel(1e-6, (1e-9, 1e-2))

    def one_lens(u: Floats, y: Floats, grid: Floats) -> Curves:
        fitted = process.GaussianProcessRegressor(kernel, normalize_y=True).fit(u[:, None], y)
        mean, sd = fitted.predict(grid[:, None], return_std=True)
        reading = fitted.kernel_.k2.noise_level * np.var(y)  # the band is for the curve, not for a new reading
        return mean, Z95 * np.sqrt(np.maximum(sd**2 - reading, 0.0))

    return one_lens


def additive_model() -> OneLens:
    """Ten penalised cubic splines, the penalty chosen for each lens by the library's own search."""
    pygam = importlib.import_module("pygam")

    def one_lens(u: Floats, y: Floats, grid: Floats) -> Curves:
        model = pygam.LinearGAM(pygam.s(0, n_splines=10)).gridsearch(
            u[:, None], y, lam=np.logspace(-6, 2, 9), progress=False
        )
        low, high = model.confidence_intervals(grid[:, None], width=0.95).T
        return model.predict(grid[:, None]), (high - low) / 2.0

    return one_lens


def _note(lenses: Fleet, ways: dict[str, Callable[[], Curves]]) -> str:
    """What is timed, and how near to the truth each way comes on the lenses that all have done."""
    mean, half = _batched(lenses)
    rows = {
        f"tapehook, these {FEW}": _accuracy(mean[:FEW], half[:FEW], lenses.truth[:FEW]),
        **{name: _accuracy(*way(), lenses.truth[:FEW]) for name, way in ways.items()},
        f"tapehook, all {LENSES:,}": _accuracy(mean, half, lenses.truth),
    }
    lines = [
        _WHAT,
        "",
        "| who | rms error | 95th percentile | band covers |",
        "| --- | --- | --- | --- |",
        *(f"| {name} | {row} |" for name, row in rows.items()),
    ]
    return "\n".join(lines)


def _accuracy(mean: Floats, half_width: Floats, truth: Floats) -> str:
    error = np.abs(mean - truth)
    covered = np.mean(error <= half_width)
    return f"{np.sqrt(np.mean(error**2)):.3f}° | {np.quantile(error, 0.95):.3f}° | {covered:.1%}"
