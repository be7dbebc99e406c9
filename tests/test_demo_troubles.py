"""Each trouble of the day is once in the demo job, and is said wherever a person may look.

One sentence with its figure, its stop and the next step: in ``tapehook prep``, on the bench or the page of the job, and
in the pack. The lenses without a trouble say none of it.
"""

import html
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

import pytest

from tapehook.book.store import new_book
from tapehook.finding import DEPTH_USED_UNIT
from tapehook.pages.app import make_app
from tapehook.pages.sessions import Sessions
from tests.cli.running import run, run_json
from tests.handover.pack_reading import Pack, plain
from tests.pages.asking import Client
from tests.pages.conftest import take_in_demo
from tests.pages.kit import job_key, lens_key
from tools.make_demo_job import DEMO_JOB

THREE_LINES = 240
"""Signs of a sentence that is read at five in the morning: three lines of 80."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A finding of the demo job: code, lens (None: the kit or the job), a figure it names, and whether it has a +-."""

    code: str
    lens: str | None
    figure: str
    sure: bool = False


TROUBLES = (
    Trouble("stopping_down.moves", "L10", "µm", sure=True),
    Trouble("glass.marks", "L14", "33 µm", sure=True),
    Trouble("zooming.one_strip", "L20", "60 mm", sure=True),
    Trouble("anamorphic.gap", "L23", "dpt", sure=True),
    Trouble("extender.share", "L03", "45 mm"),
    Trouble("port.no_reach", "L22", "100 mm"),
    Trouble("port.share", "L06", "2'3\""),
    Trouble("morning.moved", None, "µm", sure=True),
    Trouble("morning.lens", "L03", "µm", sure=True),
    Trouble("morning.lens", "L11", "4 m", sure=True),
    Trouble("morning.lens", "L13", "4 m", sure=True),
    Trouble("weather.fogs", None, "15.4 °C"),
    Trouble("picture.late", None, "83 ms"),
    Trouble("backlash.share", "L13", "110 counts", sure=True),
)
LATE = Trouble("shot.late_picture", "L16", "83 ms")
DAY = ("stopping_down", "glass", "zooming", "anamorphic", "extender", "port", "morning", "weather", "heat", "picture")
"""Kinds of finding that a lens without such data must never have."""


@pytest.fixture(scope="module", name="prep")
def _prep(tmp_path_factory: pytest.TempPathFactory) -> Any:  # noqa: ANN401 - JSON
    return run_json("prep", DEMO_JOB, "--out", tmp_path_factory.mktemp("prep"))


@pytest.fixture(scope="module", name="said")
def _said(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What prep prints, each finding on one line."""
    return _one_way(run("prep", DEMO_JOB, "--out", tmp_path_factory.mktemp("said"), width=600).stdout)


@pytest.fixture(scope="module", name="pack")
def _pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    folder = tmp_path_factory.mktemp("pack")
    assert run("handover", DEMO_JOB, "--out", folder).exit_code == 0
    return Pack((folder / "handover.pdf").read_bytes())


@pytest.fixture(scope="module", name="client")
def _client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """A browser on the laptop, looking at the demo job."""
    with new_book(str(tmp_path_factory.mktemp("pages") / "demo.book")) as book:
        take_in_demo(book)
        client = Client(make_app(book, Sessions("Mara"), let_in=True, port=8310))
        client.get("/help")
        yield client


def _one_way(text: str) -> str:
    """A text with single spaces and one sign for +-, however it was set."""
    return plain(text).replace("+-", "±").replace("’", "'")


def _found(findings: list[dict[str, Any]], trouble: Trouble) -> dict[str, Any]:
    (one,) = [one for one in findings if (one["code"], one["lens_id"]) == (trouble.code, trouble.lens)]
    return one


def _page(client: Client, path: str) -> str:
    """What a person reads on a page."""
    answer = client.get(path)
    assert answer.status == 200
    return _one_way(html.unescape(re.sub(r"<[^>]*>", "", answer.text)))


def _is_one_good_sentence(finding: dict[str, Any], trouble: Trouble) -> None:
    message, figure = finding["message"], finding["figure"]
    assert finding["severity"] != "info"
    assert message.endswith(".")
    assert ". " not in message
    assert len(message) <= THREE_LINES
    assert trouble.figure in message
    assert figure["unit"] == DEPTH_USED_UNIT
    assert re.search(rf"\d % (± \d+ % )?of the depth at (\d+ mm and )?{re.escape(figure['stop'])}\b", _one_way(message))
    assert ("+-" in message) == trouble.sure
    assert finding["next_step"].endswith(".")


@pytest.mark.parametrize("trouble", TROUBLES, ids=lambda one: f"{one.code} {one.lens}")
def test_each_is_one_sentence_with_figure_stop_and_step(prep: Any, trouble: Trouble) -> None:  # noqa: ANN401 - JSON
    """Found once, to be acted on: a figure with its unit, the share at its stop, +- where known, then what to do."""
    _is_one_good_sentence(_found(prep["findings"], trouble), trouble)


@pytest.mark.parametrize("trouble", TROUBLES, ids=lambda one: f"{one.code} {one.lens}")
def test_each_is_said_in_prep_on_the_page_and_in_the_pack(
    prep: Any,  # noqa: ANN401 - JSON
    said: str,
    client: Client,
    pack: Pack,
    trouble: Trouble,
) -> None:
    """The same sentence and step on the terminal, the bench of the lens, the page of the job, and twice on paper."""
    finding = _found(prep["findings"], trouble)
    job = job_key(client)
    places = [_page(client, f"/job/{job}/prep")]
    if trouble.lens:
        places.append(_page(client, f"/job/{job}/bench/{lens_key(client, job, trouble.lens)}"))
        places.append(_one_way(pack.text_of(prep["lenses"][trouble.lens]["title"])))
    places += [said, _one_way(pack.cover)]
    for text in (finding["message"], finding["next_step"]):
        assert [_one_way(text) in place for place in places] == [True] * len(places)


def test_the_late_picture_is_said_in_the_pull_on_the_page_and_in_the_pack(client: Client, pack: Pack) -> None:
    """Of the shot on the crane, whose monitor is late; the other shots have no such finding."""
    pulls = {name: run_json("pull", DEMO_JOB, "--shot", name)["findings"] for name in ("quay", "supper", "window")}
    assert not [one for findings in pulls.values() for one in findings if one["code"] == LATE.code]
    finding = _found(run_json("pull", DEMO_JOB, "--shot", "roof")["findings"], LATE)
    _is_one_good_sentence(finding, LATE)
    job = job_key(client)
    (shot,) = [one["shot"] for one in client.get(f"/api/jobs/{job}/shots").json["shots"] if one["name"] == "roof"]
    asked = quote(json.dumps(shot))
    page = client.get(f"/api/jobs/{job}/shot-plan?shot={asked}").json["findings"]
    said = {(one["message"], one["next"]) for one in page}
    assert (finding["message"], finding["next_step"]) in said
    (text,) = [_one_way(one) for one in pack.texts if "Edda on the roof" in one and "Chance of sharpness" in one]
    assert _one_way(finding["message"]) in text
    assert _one_way(finding["next_step"]) in text


def test_lenses_without_such_trouble_say_nothing_of_it(prep: Any) -> None:  # noqa: ANN401 - JSON
    """The ordinary case is no longer for all of this: only the lenses listed have findings of these kinds."""
    kinds = {(one["lens_id"], one["code"]) for one in prep["findings"] if one["code"].partition(".")[0] in DAY}
    assert kinds == {(one.lens, one.code) for one in TROUBLES if one.code.partition(".")[0] in DAY}


def test_no_finding_is_longer_than_three_lines(prep: Any) -> None:  # noqa: ANN401 - JSON
    """Whatever the demo job has, told in three lines of 80 or less, and followed by a step."""
    shots = [run_json("pull", DEMO_JOB, "--shot", name)["findings"] for name in ("quay", "roof", "supper", "window")]
    findings = [*prep["findings"], *(one for found in shots for one in found)]
    assert [one["message"] for one in findings if len(one["message"]) > THREE_LINES] == []
    assert [one["message"] for one in findings if not one["next_step"].strip()] == []


def test_a_swap_says_what_it_spoils(client: Client) -> None:
    """L05 for another copy, at the command and on its page: what no longer holds by name, the two marks, their +-."""
    swap = run_json("swap", DEMO_JOB, "--goes", "L05", "--comes", "50431")
    (finding,) = [one for one in swap["findings"] if one["code"] == "swap.spoils"]
    names = [one["name"] for one in swap["spoilt"]]
    assert {"focus strip of L05", "window"} <= set(names)
    assert all(name in finding["message"] for name in names)
    assert "Read two marks on it" in finding["next_step"]
    assert " +- " in finding["next_step"]
    job = job_key(client)
    text = _page(client, f"/job/{job}/swap/{lens_key(client, job, 'L05')}?{urlencode({'comes': '50431'})}")
    assert _one_way(finding["next_step"]) in text
    assert all(_one_way(name) in text for name in names)


def test_what_is_not_tested_stands_on_the_cover(pack: Pack) -> None:
    """What `tapehook left` names as not tested, by lens; and it puts minutes and shares beside each test."""
    left = run_json("left", DEMO_JOB)
    assert {"L21", "L22"} <= {test["lens"] for test in left["tests"]}
    assert all(test["minutes"] > 0 and test["stop"] for test in left["tests"])
    assert left["not_tested"]
    for one in left["not_tested"]:
        assert f"{one['what']}: {', '.join(one['lenses'])}." in _one_way(pack.cover)


def test_quirks_and_condition_are_handed_on(client: Client, pack: Pack) -> None:
    """Those of L13 at the bench and on paper, its photo by name; its safe stop on paper. L12 has no such line."""
    job = job_key(client)
    bench, other = (_page(client, f"/job/{job}/bench/{lens_key(client, job, lens)}") for lens in ("L13", "L12"))
    paper = _one_way(pack.text_of("55 mm T1.4 · serial H-0553"))
    for text in (bench, paper):
        assert "Loose gear: arrive from the same side, always." in text
        assert "scratch on the rear element, near the rim; filter thread dented; photos photos/L13-rear.png" in text
        assert "(missing)" not in text
    assert "Quirks:" not in other
    assert "On receipt:" not in other
    assert "safe from T" in " ".join(pack.texts)
    (shown,) = [at for at, text in enumerate(pack.texts) if "Condition, with photos" in text and "L13-rear" in text]
    assert len(pack.pages[shown].get_images()) == 1
