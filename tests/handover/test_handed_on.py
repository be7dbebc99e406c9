"""What no figure says, in the handover: on lens pages, the day player's page, the pocket page and in the tables."""

import csv
import io
import re
from dataclasses import replace
from typing import Any

import pytest

from tapehook.handover.files import render_full_handover
from tapehook.handover.handed_on import MOST_QUIRKS, lens_lines, quirk_rows, shot_rows
from tapehook.handover.pack import MOST_DAY_LENSES, PackWish, pack_strips, render_pack
from tapehook.handover.pocket import render_pocket
from tapehook.job import ChartTest
from tapehook.job.takes import ShotTold, Take
from tapehook.lens.stop_shift import StopShift
from tapehook.prep import Prep, prepare
from tapehook.prep.results import FlangePrep
from tapehook.prep.safe_stop import safe_stop
from tests.handover.pack_reading import Pack
from tests.prep.jobs import a_job, a_lens, read_off

NASTY = '<b>soft</b> #let x = 1 & "wide" open'
SHOT = ShotTold(
    name="window",
    title="The window",
    lens_id="L1",
    priority="Ada",
    takes=(Take(take=3, soft=True, who="Ada", why="missed the mark"), Take(take=4), Take(take=5, soft=True)),
)


def _prep(**lens: Any) -> Prep:  # noqa: ANN401 - any field
    return prepare(a_job([a_lens(**lens)], read_off(noise_deg=0.02)))


A_CHART = ChartTest(lens_id="L1", chart_distance_m=2.5, position=55.0, t_stop=2.0)


def _known() -> Prep:
    return _prep(
        quirks=NASTY,
        condition_on_receipt="front scratched",
        photos_on_receipt="photos/a.jpg; photos/b.jpg",
        condition_on_return="as received",
    )


def test_the_safe_stop_is_where_the_lens_uses_under_a_quarter() -> None:
    """Every share falls with the f-number: at the safe stop under 25 %, at the usual stop before it not."""
    (entry,) = _prep().lenses
    stop = safe_stop(entry)
    assert stop is not None
    view = entry.budgets[0]
    at_it = view.budget.worst_own * view.stop.t_number / stop.t_number
    assert at_it < 0.25
    assert stop.text == view.stop.text or at_it * 2**0.5 > 0.25
    assert safe_stop(replace(entry, budgets=())) is None


def test_the_safe_stop_counts_the_move_of_best_focus() -> None:
    """Focus moves by 60 um of 1/N^2 law on stopping down from N 1.8: from its safe stop on the lens uses under 25 %.

    The move by hand: 60 um (1.8^2/3.6^2 - 1.8^2/N^2) over N c beside the marks on paper, which hold for T4, added to
    all else that the lens uses at its worst distance, which falls with the f-number. Without it the same lens is said
    to be safe at a wider stop.
    """
    (entry,) = _prep(blur_floor_mm=None).lenses
    still = safe_stop(entry)
    stops = (1.8, 2.52, 3.6, 5.04, 7.2, 9.9, 14.4, 19.8)
    paper = 3.6
    moves = tuple(60e-6 * (1.0 - (1.8 / n) ** 2) for n in stops)
    charts = a_job([a_lens(blur_floor_mm=None)], read_off(noise_deg=0.02), charts=[A_CHART])
    (tested,) = prepare(charts).lenses
    assert isinstance(tested.flange, FlangePrep)
    shift = StopShift(stops, moves, (0.0,) * len(stops), 24)
    moving = replace(entry, flange=replace(tested.flange, stop_shift=shift))
    safe = safe_stop(moving)
    assert still is not None
    assert safe is not None
    assert safe.t_number > still.t_number
    view = entry.budgets[0]
    for n in [n for n in stops if n >= safe.f_number * 0.98]:
        left = 60e-6 * abs((1.8 / paper) ** 2 - (1.8 / n) ** 2)
        assert view.budget.worst_own * view.stop.f_number / n + left / (n * 25e-6) < 0.26
    wide = 60e-6 * (1.0 - (1.8 / paper) ** 2) / (1.8 * 25e-6)
    assert view.budget.worst_own + wide > 0.25


def test_the_lens_page_has_it_and_a_lens_without_looks_as_before() -> None:
    """Each on a line with what was written, photos that are missing named as such."""
    prep = _known()
    wish = PackWish(shots=(SHOT,), missing_photos=(("L1", "photos/b.jpg"),))
    found = Pack(render_pack(prep, wish, pack_strips(prep, wish)))
    text = found.text_of(prep.lenses[0].title)
    assert f"Quirks: {NASTY}" in text
    assert "On receipt: front scratched; photos photos/a.jpg, photos/b.jpg (missing)" in text
    assert "On return: as received" in text
    assert "safe from T" in text
    assert lens_lines(a_lens()) == []


def test_the_day_player_reads_quirks_and_shots() -> None:
    """The lens with its safe stop, who comes first, soft takes and why."""
    prep = _known()
    wish = PackWish(shots=(SHOT,))
    found = Pack(render_pack(prep, wish, pack_strips(prep, wish)))
    text = next(page for page in found.texts if "Know before you pull" in page)
    assert re.search(rf"safe from T[\d.]+; {re.escape(NASTY)}", text)
    assert "The window: Ada comes first. soft: take 3 on Ada, missed the mark; take 5, nobody knows why" in text
    plain = _prep()
    without = Pack(render_pack(plain, PackWish(), pack_strips(plain, PackWish())))
    assert not any("safe from T" in page for page in without.texts if "Know before you pull" in page)


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_day_player_still_has_one_page(demo_prep: Prep, paper: str) -> None:
    """With quirks of every lens and ten shots: one page, the rest counted."""
    entries = [
        replace(entry, lens=entry.lens.model_copy(update={"quirks": "breathes " * 30})) for entry in demo_prep.lenses
    ]
    prep = replace(demo_prep, lenses=tuple(entries * 2)[: MOST_DAY_LENSES + 10])
    wish = PackWish("us-letter" if paper == "us-letter" else "a4", shots=(SHOT,) * 10, url="https://prep.example/x")
    found = Pack(render_pack(prep, wish, pack_strips(prep, wish)))
    pages = [number for number, page in enumerate(found.texts) if "For the day player" in page and "page" in page]
    day = next(n for n in pages if "Know before you pull" in found.texts[n])
    assert "Where the marks are kept" in found.texts[day]
    assert f"and {len(prep.lenses) - MOST_QUIRKS} more" in found.texts[day]


def test_the_pocket_page_and_the_tables() -> None:
    """Escaped on the page; every take with its reason in a table, none where there is no take."""
    prep = _known()
    page = render_pocket(prep)
    assert "&lt;b&gt;soft&lt;/b&gt;" in page
    assert "<b>soft</b>" not in page
    assert "<dt>safe from</dt>" in page
    files, _ = render_full_handover(prep, PackWish(shots=(SHOT,)))
    takes = list(csv.DictReader(io.StringIO(files["takes.csv"].decode("utf-8-sig"))))
    assert [(row["take"], row["soft"], row["why"]) for row in takes] == [
        ("3", "yes", "missed the mark"),
        ("4", "no", ""),
        ("5", "yes", ""),
    ]
    (lens,) = csv.DictReader(io.StringIO(files["all_lenses.csv"].decode("utf-8-sig")))
    assert lens["quirks"] == NASTY
    assert lens["safe_stop"].startswith("T")
    assert "takes.csv" not in render_full_handover(_prep(), PackWish())[0]


def test_nothing_known_is_no_row() -> None:
    """Lenses without quirks and shots that hand on nothing are left out."""
    assert quirk_rows(_prep().lenses) == []
    assert shot_rows([SHOT.model_copy(update={"priority": None, "takes": ()})]) == []
