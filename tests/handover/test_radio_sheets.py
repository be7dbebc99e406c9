"""The radio plan on paper: on its own and in the pack, with cautions, walk tests, and hostile names."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import tapehook
from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.radio_sheets import radio_data, render_radio_sheets, sheet_data
from tapehook.job import Job, read_job
from tapehook.prep import prepare
from tapehook.prep.radio import plan_radio
from tests.handover.pack_reading import Pack
from tests.handover.test_pack import HOSTILE
from tests.prep.jobs import a_lens, read_off
from tests.simulator.paper import a_job

DEMO = Path(tapehook.__file__).parent / "demo_job"
PLAN = {"A": ("2450", 11), "B": ("2450", 24), "C": ("868", 0)}


@pytest.fixture(scope="module")
def job() -> Job:
    """The demo job."""
    return read_job(DEMO)


def sheets(job: Job) -> Pack:
    """The sheets of the job's best plan, read back."""
    return Pack(render_radio_sheets(plan_radio(job)))


def test_a_sheet_for_each_camera_with_its_channel_and_walk_test(job: Job) -> None:
    """After the plan a page a camera: channel, fallback, links, reach, what to prove, room to write."""
    prep = plan_radio(job)
    pack = Pack(render_radio_sheets(prep))
    for letter, channel in prep.plan.channels.items():
        (page,) = [text for text in pack.texts if text.startswith(f"Radio, camera {letter}")]
        assert f"channel {channel.number} at" in page
        assert f"{prep.plan.fallback[letter].number} (" in page
        assert f"{prep.plan.margin_db[letter]:.1f} dB" in page
        for said in ("Walk test", "hand unit to camera", "95 % of them", "in sight (ITU-R P.1411)", "initials"):
            assert said in page
    plan = " ".join(pack.texts[:2])
    for said in ("Planning figures only", "The lot from above", "Band of 2450 MHz", "All transmitters", "Next-best"):
        assert said in plan
    assert render_radio_sheets(prep) == render_radio_sheets(plan_radio(job))


def strings(value: object) -> Iterator[str]:
    """Every text in what the template is given, pictures and all."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from strings(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from strings(inner)


def test_effects_put_the_caution_on_paper_and_no_distance_beside_it(job: Job) -> None:
    """For the supervisor on the first page, reach disclaimed on each camera's; no text on effects has a length."""
    effects = job.model_copy(update={"fired_effects": True})
    pack = sheets(effects)
    assert "Give this list to the special-effects supervisor" in pack.texts[0]
    assert " ".join(pack.texts).count("says nothing about fired effects") == 3
    about = [one for one in strings(sheet_data(plan_radio(effects))) if re.search("effects|igniter|detonator", one)]
    assert len(about) >= 5
    for text in about:
        assert not re.search(r"\d\s*(m|ft|cm|km)\b", text), text
    assert "supervisor" not in " ".join(sheets(job).texts)


def test_the_pack_has_the_sheets_of_the_plan_it_is_given(job: Job) -> None:
    """With a plan: a part called Radio and a page a camera. Without, or with a job that says too little: neither."""
    small = a_job([a_lens()], read_off(), cameras=list(job.cameras)).model_copy(
        update={"radios": job.radios, "emitters": job.emitters, "region": job.region}
    )
    prep = prepare(small)

    def of(wish: PackWish) -> Pack:
        return Pack(render_pack(prep, wish, pack_strips(prep, wish)))

    pack = of(PackWish(diameter_mm=80.0, channels=PLAN))
    titles = [title for _, title, _ in pack.document.get_toc()]
    assert "Radio" in titles
    assert [f"Radio, camera {letter}" for letter in "ABC"] == [one for one in titles if one.startswith("Radio, camera")]
    assert "Radio" not in [title for _, title, _ in of(PackWish(diameter_mm=80.0)).document.get_toc()]
    assert radio_data(small.model_copy(update={"region": None}), PLAN) is None
    assert radio_data(small, {}) is None


def test_names_that_mean_harm_are_only_names(job: Job) -> None:
    """Radios and senders called anything: the sheets are set, and the words stand there as words."""
    radios = tuple(one.model_copy(update={"id": HOSTILE[:70]}) if at == 0 else one for at, one in enumerate(job.radios))
    emitters = tuple(one.model_copy(update={"id": HOSTILE[:60]}) for one in job.emitters)
    pack = sheets(job.model_copy(update={"radios": radios, "emitters": emitters, "title": HOSTILE}))
    assert "#panic()" in " ".join(pack.texts)


def test_paper_and_many_cameras(job: Job) -> None:
    """US Letter, and five cameras: a page each."""
    model = job.radios[0]
    radios = [model.model_copy(update={"id": f"R{one}", "camera": one}) for one in "ABCDE"]
    many = Job(region="US", radios=tuple(radios), title="many")
    pack = Pack(render_radio_sheets(plan_radio(many), paper="us-letter"))
    assert sum(text.startswith("Radio, camera") for text in pack.texts) == 5
    assert pack.pages[0].rect.width == pytest.approx(612.0)
