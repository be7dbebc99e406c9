"""Shots in the pack: a page each with its marks, and a line for those without a plan."""

import pymupdf
import pytest

from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.shot_sheets import shot_pages
from tapehook.job import read_job
from tapehook.job.shot_files import shot_texts
from tapehook.job.shots import shots_in
from tapehook.prep import Prep, prepare
from tapehook.prep.shot_sheet import marks_of
from tapehook.prep.shots import plan_shot
from tests.cli.running import ROOT

DEMO = ROOT / "src" / "tapehook" / "demo_job"


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    job = read_job(DEMO)
    wanted = ("L05", "L06", "L09", "L16")
    return prepare(job.model_copy(update={"lenses": tuple(one for one in job.lenses if one.id in wanted)}), brief=True)


def test_each_shot_has_a_page_with_its_marks(prep: Prep) -> None:
    """The four of the demo: title, every mark's feet, metres, ring and strip on its own page, and the verdict."""
    plans, unread = shots_in(shot_texts(DEMO))
    assert (sorted(plans), unread) == (["quay", "roof", "supper", "window"], [])
    wish = PackWish(plans=plans)
    with pymupdf.open(stream=render_pack(prep, wish, pack_strips(prep, wish))) as pdf:
        pages = [page.get_text() for page in pdf]
    for shot in plans.values():
        (page,) = [text for text in pages if shot.title in text and "Chance of sharpness" in text]
        plan = plan_shot(prep, shot)
        for mark in marks_of(plan):
            for text in (
                f"{mark.time_s:.1f} s",
                mark.feet,
                mark.metres,
                mark.position,
                mark.strip,
                mark.near,
                mark.far,
            ):
                assert text in page
        assert f"{plan.stop.text}, {'holds' if plan.feasible else 'does not hold'}" in page
    assert any("Shots" in text and "Contents" in text for text in pages)


def test_a_shot_without_a_plan_is_a_line(prep: Prep) -> None:
    """A lens the job has not, and a file that is none: said, and no page; without shots there is no part."""
    plans, unread = shots_in(
        {"gone": 'lens = "X9"\npeople = [{ name = "A", path = [{ at_s = 0, place_m = [0, 2, 1] }]}]\n'}
    )
    assert plans == {}
    assert len(unread) == 1  # it lasts no time
    plans, _ = shots_in(shot_texts(DEMO))
    elsewhere = {name: shot.model_copy(update={"lens": "X9"}) for name, shot in plans.items()}
    said = shot_pages(prep, elsewhere, unread)
    assert said is not None
    assert said["pages"] == []
    assert len(said["none"]) == 5
    assert "X9" not in said["none"][0]
    assert "a lens of the job" in said["none"][1]
    assert shot_pages(prep, {}, []) is None


def test_what_people_typed_stays_text(prep: Prep) -> None:
    """Titles and names made of markup or of the typesetter's signs are printed as they are."""
    shot = shots_in(shot_texts(DEMO))[0]["window"]
    evil = '#read("x") <b> $x$ \\ @y'
    people = [shot.people[0].model_copy(update={"name": evil}), shot.people[1]]
    hold = [shot.hold[0].model_copy(update={"who": [evil]}), shot.hold[1]]
    wish = PackWish(plans={"evil": shot.model_copy(update={"title": evil, "people": people, "hold": hold})})
    with pymupdf.open(stream=render_pack(prep, wish, pack_strips(prep, wish))) as pdf:
        text = " ".join("".join(page.get_text() for page in pdf).split())
    assert '#read("x")' in text
