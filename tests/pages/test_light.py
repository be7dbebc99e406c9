"""The page of light: the same figures as the commands, what cannot be read in words, and a stop pull that is kept."""

import time
from typing import Any
from urllib.parse import urlencode

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.book.jobs import JobDocument
from tapehook.book.working import open_job
from tapehook.cli.flicker_answer import flicker_answer
from tapehook.pages.light import GIVEN, steps_of
from tests.cli.running import ROOT, run_json
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.conftest import take_in_demo
from tests.pages.kit import Served, job_key

DEMO = ROOT / "src" / "tapehook" / "demo_job"
EXPOSURE = {"stop": "T4", "ei": "800", "fps": "24", "shutter": "180deg", "light": "192 fc"}
PULL: dict[str, Any] = {
    "lens": "L05",
    "filter": "pair",
    "course": ["0 stop T2", "6 stop T8"],
    "iris_speed": "200",
    "extra_speed": "120",
    "extra_backlash": "0.2",
    "extra_set": "above",
}


def asked(path: str, **fields: Any) -> str:  # noqa: ANN401 - fields of a query
    """An address with its query."""
    return f"{path}?{urlencode(fields, doseq=True)}"


def test_exposure_is_that_of_the_command(laptop: Client) -> None:
    """Whatever is found, page and command give the same value, ways out and findings."""
    job = job_key(laptop)
    for solve in ("nd", *GIVEN):
        fields = {**EXPOSURE, "solve": solve}
        answer = laptop.get(asked(f"/api/jobs/{job}/exposure", **fields)).json
        assert list(misfits(answer, schema("exposure"))) == []
        options = {name: text for name, text in EXPOSURE.items() if name != solve}
        command = run_json("exposure", *(part for name, text in options.items() for part in (f"--{name}", text)),
                           "--tray", str(DEMO))  # fmt: skip
        assert answer["solved"] == solve
        assert {key: answer[key] for key in ("value", "text", "ways_out", "findings")} == {
            key: command[key] for key in ("value", "text", "ways_out", "findings")
        }


def test_a_stop_pull_is_that_of_the_command(laptop: Client) -> None:
    """The demo's own stop pull sent by the fields of the page gives what the command prints."""
    job = job_key(laptop)
    fields = {**PULL, "course": ["0.5 stop T2", "6.5 stop T8"], "shot": "window"}
    answer = laptop.get(asked(f"/api/jobs/{job}/stop-pull", **fields)).json
    assert list(misfits(answer, schema("stop-pull"))) == []
    assert answer == run_json("stop-pull", str(DEMO), "--shot", "window")


def test_the_page_opens_with_the_kept_stop_pull(laptop: Client) -> None:
    """The first shot that has one: its marks, all four motors, and what it may be off; the exposure starts right."""
    text = laptop.get(f"/job/{job_key(laptop)}/light").text
    for words in ("0.5 stop T2", "6.5 stop T8", "iris: 15.4°", "zoom: a prime", "pair: 83.9 %", "focus: "):
        assert words in text, words
    assert "<strong><bdi>right</bdi></strong>" in text
    assert "flickers by up to 0.11 stop; steady at 172.8°" in text


@pytest.mark.parametrize(
    "fields, words",
    [
        ({"course": ["0 stop T2", "x stop T8"]}, "mark 2"),
        ({"course": ["0 stop f/2", "6 stop T8"]}, "a T-stop such as"),
        ({"course": ["0 stop T2"]}, "two or more of"),
        ({"lens": "L99"}, "the id of a lens of lenses.csv"),
        ({"filter": "ND 0.3"}, "a filter of kind pair or variable"),
        ({"extra_speed": "fast"}, "extra speed"),
        ({"course": ["0 depth 0.3", "6 stop T8"]}, "distance_m"),
        ({"course": ["0 colour red", "6 stop T8"]}, "what is wanted"),
    ],
)
def test_what_cannot_be_read_is_said(laptop: Client, fields: dict[str, Any], words: str) -> None:
    """On the page in the place of the picture; by the interface as a refusal."""
    job = job_key(laptop)
    part = laptop.get(asked(f"/part/stop-pull/{job}", **{**PULL, **fields}))
    assert part.status == 200
    assert words in part.json["parts"]["pull"].replace("&#39;", "'")
    refused = laptop.get(asked(f"/api/jobs/{job}/stop-pull", **{**PULL, **fields}))
    assert refused.status == 422
    assert words in " ".join(one["sentence"] for one in refused.json["problems"])


def test_more_than_the_filter_has_gives_no_positions(laptop: Client) -> None:
    """Seven stops of a wedge with five: what can be done is said, and no position of iris or filter is shown."""
    fields = {**PULL, "filter": "wedge", "course": ["0 stop T2", "6 stop T22"]}
    text = laptop.get(asked(f"/part/stop-pull/{job_key(laptop)}", **fields)).json["parts"]["pull"]
    for words in ("cannot be done as planned", "The largest change that works from T2", "iris: no positions"):
        assert words in text


def test_exposure_that_cannot_be_is_said(laptop: Client) -> None:
    """An unreadable light, a shutter longer than the frame, a stop no lens has."""
    job = job_key(laptop)
    for fields, words in (
        ({"light": "bright", "solve": "stop"}, "24 fc or 250 lx"),
        ({"shutter": "1/12", "solve": "stop"}, "does not fit a frame"),
        ({"light": "9000000 lx", "solve": "stop"}, "which no lens has"),
        ({"ei": "", "solve": "stop"}, "all but one"),
        ({"lens": "L99"}, "the id of a lens"),
    ):
        part = laptop.get(asked(f"/part/light/{job}", **{**EXPOSURE, **fields}))
        assert (part.status, words in part.json["parts"]["exposure"]) == (200, True), (fields, part.text)
        assert laptop.get(asked(f"/api/jobs/{job}/exposure", **{**EXPOSURE, **fields})).status == 422


def test_a_stop_pull_is_kept_in_its_shot(server: Served) -> None:
    """Kept beside the shot it belongs to, of which nothing else changes; in a new file; and taken out again."""
    take_in_demo(server.book)
    client = Client(server.app)
    client.get("/help")
    job = job_key(client)
    before = (DEMO / "shots" / "supper.toml").read_text(encoding="utf-8")
    mark = client.get(f"/job/{job}/light?shot=supper").text.partition('data-mark="')[2].partition('"')[0]
    sent = {"name": "supper", "mark": mark, "pull": PULL}
    kept = client.post(f"/api/jobs/{job}/stop-pulls", sent)
    assert kept.status == 200, kept.text
    assert client.post(f"/api/jobs/{job}/stop-pulls", sent).status == 422, "made from a text that is no more"
    page = client.get(f"/job/{job}/light?shot=supper").text
    assert "6 stop T8" in page
    new = client.post(f"/api/jobs/{job}/stop-pulls", {"name": "new", "mark": "", "pull": PULL})
    assert new.status == 200
    assert "L05" in client.get(f"/job/{job}/stop-pull-card?shot=new").text
    gone = client.post(f"/api/jobs/{job}/stop-pulls", {"name": "new", "mark": new.json["mark"], "pull": None})
    assert gone.json["mark"] == ""
    assert client.get(f"/job/{job}/stop-pull-card?shot=new").status == 404
    taken = client.post(f"/api/jobs/{job}/stop-pulls", {"name": "supper", "mark": kept.json["mark"], "pull": None})
    files = JobDocument.of(open_job(server.book, "Ninety Herons, prep").thing.now).files
    assert taken.status == 200
    assert files["shots/supper.toml"].strip() == before.strip()


def test_the_motors_of_the_shot_conflict(server: Served) -> None:
    """A stop pull on another lens than its shot, which ends after the shot: both are told."""
    take_in_demo(server.book)
    client = Client(server.app)
    client.get("/help")
    fields = {**PULL, "shot": "supper", "course": ["0 stop T2", "12 stop T8"]}
    answer = client.get(asked(f"/api/jobs/{job_key(client)}/stop-pull", **fields)).json
    said = " ".join(answer["conflicts"])
    assert "The shot is planned on L06, the stop pull on L05" in said
    assert "ends at 12 s, after the shot" in said
    assert {one["severity"] for one in answer["findings"] if one["code"] == "stop_pull.motors"} == {"fix"}


def test_a_page_without_iris_or_filters(server: Served) -> None:
    """An empty job has no stop pull to show, and says what is missing; the sliders work all the same."""
    client = Client(server.app)
    client.get("/help")
    job = client.post("/api/jobs", {"name": "Harbour", "units": "metric"}).json["key"]
    text = client.get(f"/job/{job}/light").text
    assert "none with its iris read" in text
    assert "no variable filter in the job" in text
    assert " lx" in text


def test_who_may_only_look_has_nothing_to_keep_with(viewer: Client) -> None:
    """The sliders and the course are there for a viewer; what would write is not."""
    text = viewer.get(f"/job/{job_key(viewer)}/light").text
    assert 'id="marks"' in text
    assert 'id="keep"' not in text
    assert 'id="take-out"' not in text


def test_every_step_of_the_sliders_can_be_read(laptop: Client) -> None:
    """Each label of each slider, in both units of light, is an exposure that is answered."""
    job = job_key(laptop)
    for units in ("imperial", "metric"):
        for name, texts in steps_of(units).items():
            for text in texts:
                fields = {**EXPOSURE, "solve": "exposure", "nd": "0.3", name: text}
                assert "problems" not in laptop.get(asked(f"/api/jobs/{job}/exposure", **fields)).json, (name, text)


def test_answers_are_there_within_a_tenth_of_a_second(laptop: Client) -> None:
    """Of twenty answers to a moved slider and a dragged mark, the median of each takes less than 100 ms of work."""
    job = job_key(laptop)
    over, wedge = {**PULL, "shot": "window"}, {**PULL, "filter": "wedge"}
    for path in (
        lambda k: asked(f"/part/light/{job}", **{**EXPOSURE, "solve": "nd", "light": f"{200 + k} fc"}),
        lambda k: asked(f"/part/stop-pull/{job}", **{**over, "course": ["0 stop T2", f"{4 + k / 10} stop T8"]}),
        lambda k: asked(f"/part/stop-pull/{job}", **{**wedge, "course": ["0 stop T2", f"{4 + k / 10} stop T22"]}),
    ):
        taken = []
        for k in range(20):
            start = time.process_time()
            assert laptop.get(path(k)).status == 200
            taken.append(time.process_time() - start)
        assert sorted(taken)[10] < 0.1


TEXTS = st.text(max_size=12) | st.sampled_from(["T2", "T8", "800", "24", "180°", "1/50", "24 fc", "0.6", "inf", "-1"])
MARKS = st.builds(
    lambda s, k, v: f"{s} {k} {v}",
    st.floats(-1, 130).map(str) | TEXTS,
    st.sampled_from(["stop", "depth", "blur", ""]),
    TEXTS,
)


NAMES = ("stop", "ei", "fps", "shutter", "light", "nd")
FIELDS = ("lag_ms", "extra_speed", "extra_from", "tolerance", "fps", "distance")


@settings(max_examples=60)
@given(
    exposure=st.fixed_dictionaries(dict.fromkeys(NAMES, TEXTS)),
    solve=st.sampled_from(["exposure", "nd", *GIVEN]),
    course=st.lists(MARKS, max_size=4),
    fields=st.dictionaries(st.sampled_from(FIELDS), TEXTS),
    rings=st.tuples(st.sampled_from(["L05", "L19", "L01", "", "x"]), st.sampled_from(["pair", "wedge", "ND 0.3", ""])),
)
def test_whatever_is_typed_is_answered(
    shared: Client,
    exposure: dict[str, str],
    solve: str,
    course: list[str],
    fields: dict[str, str],
    rings: tuple[str, str],
) -> None:
    """Any text in any field: an answer or words, never a failure."""
    job = job_key(shared)
    sent = {key: text.encode("utf-8", "replace") for key, text in {**exposure, "solve": solve}.items()}
    assert shared.get(f"/part/light/{job}?{urlencode(sent)}").status in {200, 422}
    pull = [("lens", rings[0]), ("filter", rings[1]), *fields.items(), *(("course", one) for one in course)]
    query = urlencode([(key, text.encode("utf-8", "replace")) for key, text in pull])
    assert shared.get(f"/part/stop-pull/{job}?{query}").status in {200, 422}


@pytest.fixture(scope="module")
def shared(demo_server: Served) -> Client:
    """A browser on the laptop for all examples."""
    client = Client(demo_server.app)
    client.get("/help")
    return client


def test_a_ramp_of_speed_says_what_the_command_says(laptop: Client) -> None:
    """For 50 and 60 Hz the words of ``tapehook flicker --to-fps``; a time that fits no frame is refused, the exposure
    stays."""
    job = job_key(laptop)
    fields = {**EXPOSURE, "fps": "24", "shutter": "180°", "light": "24 fc", "nd": "0", "solve": "exposure"}
    part = laptop.get(asked(f"/part/light/{job}", **fields, to_fps="48")).json["parts"]["exposure"]
    for mains in ("50", "60"):
        typed = {"fps": "24", "mains": mains, "shutter": "180deg", "to_fps": "48"}
        ramp = flicker_answer(typed)["ramp"]
        assert f"from 24 to 48 fps it {ramp['text']}." in part
    assert "The ramp" not in laptop.get(asked(f"/part/light/{job}", **fields)).json["parts"]["exposure"]
    late = laptop.get(asked(f"/part/light/{job}", **{**fields, "shutter": "1/30"}, to_fps="96"))
    assert "a shutter that fits a frame at 96 fps" in late.json["parts"]["exposure"]
    assert "<strong>" in late.json["parts"]["exposure"]
    odd = laptop.get(asked(f"/part/light/{job}", **fields, to_fps="fast")).json["parts"]["exposure"]
    assert 'role="alert"' in odd
