"""Stop pulls in the pack: a page each with its moments, and a line for those that cannot be worked out."""

import pymupdf
import pytest

from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.stop_pull_sheets import stop_pull_pages
from tapehook.handover.typesetting import Paper
from tapehook.job import read_job
from tapehook.job.shot_files import shot_texts
from tapehook.job.shots import shots_in
from tapehook.job.stop_pulls import stop_pulls_in
from tapehook.prep import Prep, prepare
from tests.cli.running import ROOT
from tests.handover.matterhorn import faults

DEMO = ROOT / "src" / "tapehook" / "demo_job"


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    job = read_job(DEMO)
    wanted = ("L05", "L06")
    return prepare(job.model_copy(update={"lenses": tuple(one for one in job.lenses if one.id in wanted)}), brief=True)


def test_a_stop_pull_has_a_page_with_its_moments(prep: Prep) -> None:
    """The demo's: title, verdict, thirteen moments with iris and extra motor, errors and cautions; and PDF/UA holds."""
    plans, _ = shots_in(shot_texts(DEMO))
    pulls, wrong = stop_pulls_in(shot_texts(DEMO))
    assert (list(pulls), wrong) == (["window"], [])
    said = stop_pull_pages(prep, pulls, plans)
    assert said is not None
    (page,) = said["pages"]
    assert len(page["moments"]) == 13
    wish = PackWish(plans=plans, stop_pulls=pulls)
    data = render_pack(prep, wish, pack_strips(prep, wish))
    assert faults(data) == []
    with pymupdf.open(stream=data) as pdf:
        texts = [one.get_text() for one in pdf]
    (text,) = [one for one in texts if "Stop pull window" in one and "Moments" in one]
    for words in (
        "works",
        "0.50 s",
        "6.50 s",
        "15.4°",
        "48.5°",
        "83.9 %",
        "iris backlash",
        "leave the outer one still",
    ):
        assert words in text, words
    assert any("Contents" in one and "Stop pulls" in one for one in texts)


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_stop_pull_has_one_page(prep: Prep, paper: Paper) -> None:
    """Chart, moments and all there is to mind stand on one page of either paper, the demo's and a second one."""
    plans, _ = shots_in(shot_texts(DEMO))
    (plan,) = stop_pulls_in(shot_texts(DEMO))[0].values()
    wish = PackWish(paper, plans=plans, stop_pulls={"window": plan, "again": plan})
    with pymupdf.open(stream=render_pack(prep, wish, pack_strips(prep, wish))) as pdf:
        texts = [one.get_text() for one in pdf]
    first = next(number for number, one in enumerate(texts) if "Stop pull window" in one and "Moments" in one)
    assert "both lags are taken" in " ".join(texts[first].split())
    assert "Stop pull again" in texts[first + 1]
    assert "· Stop pulls" not in texts[first + 2]


def test_one_that_cannot_be_done_has_no_moments(prep: Prep) -> None:
    """Seven stops of a wedge that has five: the page says what works, and gives nobody a position."""
    (plan,) = stop_pulls_in(shot_texts(DEMO))[0].values()
    course = [plan.course[0], plan.course[1].model_copy(update={"stop": "T22"})]
    said = stop_pull_pages(prep, {"wide": plan.model_copy(update={"filter": "wedge", "course": course})}, {})
    assert said is not None
    (page,) = said["pages"]
    assert page["moments"] == []
    assert any("The largest change that works" in str(one) for one in page["findings"])


def test_one_that_cannot_be_worked_out_is_a_line(prep: Prep) -> None:
    """A lens that is not there, and a table with a slip: said, and no page; without any there is no part."""
    (plan,) = stop_pulls_in(shot_texts(DEMO))[0].values()
    said = stop_pull_pages(prep, {"x": plan.model_copy(update={"lens": "L99"})}, {})
    assert said is not None
    assert (said["pages"], len(said["none"])) == ([], 1)
    assert stop_pull_pages(prep, {}, {}) is None
    _, wrong = stop_pulls_in({"y": '[stop_pull]\nlens = "L05"\n', "z": "people = 3\n"})
    assert wrong
    assert all("shots/y.toml" in one for one in wrong)


def test_a_file_with_a_stop_pull_alone_is_no_broken_shot() -> None:
    """Kept without a shot around it, a stop pull is read as that and is no shot that cannot be read."""
    text = (
        '[stop_pull]\nlens = "L05"\nfilter = "pair"\ncourse = [{ at_s = 0, stop = "T2" }, { at_s = 4, stop = "T4" }]\n'
    )
    assert shots_in({"new": text}) == ({}, [])
    assert list(stop_pulls_in({"new": text})[0]) == ["new"]
