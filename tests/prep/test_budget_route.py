"""The focus budget of a whole lens by a second route: draw the errors, set the ring, and look where the focus falls.

Nothing is linear here: each draw moves the position or the distance, the map and the exact conjugate equation turn it
into a focus, and the vergence of that focus is held against the half-width. The budget adds shares by rule; chance must
agree.
"""

import numpy as np
import numpy.typing as npt
import pytest

from tapehook.lens import LensMap
from tapehook.optics import Pupil
from tapehook.prep import LensPrep, prepare
from tests.prep.jobs import a_job, a_lens, read_off

Floats = npt.NDArray[np.float64]

DRAWS = 200_000
FOCAL_M = 0.05


@pytest.fixture(scope="module", name="entry")
def _entry() -> LensPrep:
    """A lens read in steps coarse enough to count, with some play."""
    return prepare(a_job([a_lens(reading_step=0.5)], read_off(play_deg=0.6, noise_deg=0.15))).lenses[0]


def _pupil_distance(distance_m: Floats, pupil: Pupil) -> Floats:
    """Entrance pupil to object, by bisection of D = f/m + f/P + e + f m, apart from the closed form."""
    p, e = float(np.asarray(pupil.magnification)), float(np.asarray(pupil.to_sensor_m))
    low, high = np.full_like(distance_m, 1e-9), np.ones_like(distance_m)
    for _ in range(60):
        m = (low + high) / 2
        too_far = FOCAL_M / m + FOCAL_M / p + e + FOCAL_M * m > distance_m
        low, high = np.where(too_far, m, low), np.where(too_far, high, m)
    m = (low + high) / 2
    return FOCAL_M / m + FOCAL_M / p


def _set_by(lens_map: LensMap, distance_m: float, off: Floats) -> Floats:
    """Distances the lens is focused at when the ring is off by so much, by interpolation in a fine table of the map."""
    table = 1.0 / np.linspace(1.0 / (distance_m * 1.3), 1.0 / (distance_m / 1.3), 4001)
    positions = lens_map.position(table)[0]
    order = np.argsort(positions)
    vergence = np.interp(lens_map.position(distance_m)[0] + off, positions[order], 1.0 / table[order])
    distance: Floats = 1.0 / vergence
    return distance


@pytest.mark.parametrize("at", [8, 30, 52])
def test_scatter_adds_up_as_chance_does(entry: LensPrep, at: int) -> None:
    """Map, reading and tape drawn together: 95 % of the draws fall within the scatter of the budget, to 4 % of it."""
    view = entry.budget("widest")
    assert view is not None
    assert entry.focus_map is not None
    assert entry.pupil is not None
    budget, distance = view.budget, float(view.budget.distance_m[at])
    rng = np.random.default_rng(at)
    curve_sd = entry.focus_map.position(distance)[1][0]
    step = entry.lens.reading_step or 0.0
    off = rng.normal(0.0, curve_sd, DRAWS) + rng.uniform(-step / 2, step / 2, DRAWS)
    subject = distance + rng.normal(0.0, np.hypot(3e-3, 3e-3 * distance), DRAWS)
    focused = _set_by(entry.focus_map, distance, off)
    miss = 1.0 / _pupil_distance(focused, entry.pupil) - 1.0 / _pupil_distance(subject, entry.pupil)
    drawn = float(np.quantile(np.abs(miss), 0.95)) / budget.half_width_dpt[at]
    scatter = [i for i, term in enumerate(budget.terms) if term.kind == "scatter"]
    assert drawn == pytest.approx(float(np.sqrt((budget.shares[scatter, at] ** 2).sum())), rel=0.04)


@pytest.mark.parametrize("at", [8, 30, 52])
def test_backlash_is_half_the_play(entry: LensPrep, at: int) -> None:
    """Arriving from one side moves the focus by half the play from the centre: its share by the exact way round."""
    view = entry.budget("widest")
    assert view is not None
    assert entry.focus_map is not None
    assert entry.pupil is not None
    assert entry.play is not None
    budget, distance = view.budget, float(view.budget.distance_m[at])
    moved = _set_by(entry.focus_map, distance, np.array([entry.play.value / 2.0]))
    here = _pupil_distance(np.array([distance]), entry.pupil)
    miss = np.abs(1.0 / _pupil_distance(moved, entry.pupil) - 1.0 / here) / budget.half_width_dpt[at]
    backlash = next(i for i, term in enumerate(budget.terms) if term.name == "backlash")
    assert budget.terms[backlash].kind == "bias"
    assert float(miss[0]) == pytest.approx(float(budget.shares[backlash, at]), rel=0.01)


def test_terms_and_total(entry: LensPrep) -> None:
    """Four terms, the tape alone of the set; total is bias plus root of the squares, own the same without the tape."""
    view = entry.budget("shooting")
    assert view is not None
    budget = view.budget
    names = {term.name: i for i, term in enumerate(budget.terms)}
    assert set(names) == {"map", "reading", "backlash", "tape"}
    assert [term.name for term in budget.terms if term.source == "set"] == ["tape"]
    share = {name: budget.shares[i] for name, i in names.items()}
    own = share["backlash"] + np.hypot(share["map"], share["reading"])
    total = share["backlash"] + np.sqrt(share["map"] ** 2 + share["reading"] ** 2 + share["tape"] ** 2)
    np.testing.assert_allclose(budget.own, own)
    np.testing.assert_allclose(budget.total, total)
    assert budget.worst == int(np.argmax(own))


def test_stopping_down_uses_less(entry: LensPrep) -> None:
    """Twice the T-number, half of every share at each distance."""
    widest, shooting = entry.budget("widest"), entry.budget("shooting")
    assert widest is not None
    assert shooting is not None
    np.testing.assert_allclose(shooting.budget.shares * 2.0, widest.budget.shares, rtol=1e-9)


def test_assumed_terms_say_so() -> None:
    """A read-out step nobody gave and a play nobody could see are assumed, and marked so; the tape always is."""
    job = a_job([a_lens(reading_step=None)], read_off(ways=("near_to_far",)))
    terms = {term.name: term.assumed for term in prepare(job).lenses[0].budgets[0].budget.terms}
    assert terms == {"map": False, "reading": True, "backlash": True, "tape": True}
