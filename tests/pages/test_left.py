"""The page Minutes left and its JSON: the tests the command lists, each leading to the bench, and alive."""

import re
import time
from itertools import pairwise

import pytest

from tapehook.pages.desk import Desk
from tapehook.prep.minutes_left import not_tested
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.kit import NOBODY, Served, job_key, lens_key, measured_lens


def _rows(text: str) -> list[tuple[str, str]]:
    """The tests of a page in their order: address and what to do."""
    return re.findall(r'<a class="who"[^>]* href="([^"]+)".*?<span class="what"><bdi>([^<]*)</bdi>', text, re.DOTALL)


def test_the_interface_gives_what_the_command_prints(laptop: Client) -> None:
    """In the shape of ``tapehook left --json``; with minutes only what fits into them."""
    job = job_key(laptop)
    everything = laptop.get(f"/api/jobs/{job}/left").json
    some = laptop.get(f"/api/jobs/{job}/left?minutes=12").json
    for found in (everything, some):
        assert list(misfits(found, schema("left"))) == []
    assert 0 < some["minutes"] <= 12 < everything["minutes"]
    assert [one for one in everything["tests"] if one in some["tests"]] == some["tests"]


def test_the_page_lists_the_tests_in_their_order(laptop: Client) -> None:
    """Most won a minute first, each with the address where it is entered: a chart test at its own fields."""
    job = job_key(laptop)
    found = laptop.get(f"/api/jobs/{job}/left").json["tests"]
    text = laptop.get(f"/job/{job}/left").text
    rows = _rows(text)
    keys = {one["lens"]: lens_key(laptop, job, one["lens"]) for one in found}
    assert [address.partition("?")[0] for address, _ in rows] == [
        f"/job/{job}/bench/{keys[one['lens']]}" for one in found
    ]
    assert [address.endswith("?test=chart") for address, _ in rows] == [one["kind"] == "flange" for one in found]
    bench = laptop.get(rows[0][0]).text
    assert 'id="chart-test"' in bench
    assert all(one["won_per_minute"] >= other["won_per_minute"] for one, other in pairwise(found))


def test_what_nobody_tested_stands_there_by_name(laptop: Client, demo_server: Served) -> None:
    """The same kinds and lenses as on the cover of the handover."""
    job = job_key(laptop)
    text = laptop.get(f"/job/{job}/left").text.partition('id="untested"')[2]
    shown = [
        (what, tuple(re.findall(r"<bdi>([^<]*)</bdi>", names)))
        for what, names in re.findall(r"<dt>([^<]*)</dt><dd>(.*?)</dd>", text, re.DOTALL)
    ]
    desk = Desk(demo_server.book)
    assert shown == list(not_tested(desk.prep(desk.job(job))))


def test_a_test_that_was_made_is_off_the_list(server: Served) -> None:
    """Once the other way was read too, nobody is asked for it; the part that is fetched anew says so."""
    client = Client(server.app)
    client.get("/help")
    job, lens = measured_lens(client)
    before = client.get(f"/part/left/{job}?narrow=true").json["parts"]["tests"]
    assert "Read four marks the other way too" in before
    column = "2'\t301.6\n3'\t201.4\n5'\t121.7\n10'\t61.5"
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/column", {"text": column, "approach": "far_to_near"})
    assert answer.status == 200
    for _ in range(40):  # the list may be a moment behind while somebody types
        after = client.get(f"/part/left/{job}").json["parts"]["tests"]
        if "the other way too" not in after:
            break
        time.sleep(0.1)
    assert "the other way too" not in after


@pytest.mark.parametrize("typed", ["soon", "0", "-5", "1e9", "<b>30</b>"])
def test_minutes_that_cannot_be_read_are_refused_in_words(laptop: Client, typed: str) -> None:
    """On the page beside the list, in the interface as a problem; never as markup."""
    job = job_key(laptop)
    text = laptop.get(f"/job/{job}/left?minutes={typed}").text
    assert 'role="alert"' in text
    assert "<b>30" not in text
    answer = laptop.get(f"/api/jobs/{job}/left?minutes={typed}")
    assert answer.status == 422
    assert list(misfits(answer.json, schema("problems"))) == []


def test_an_hour_is_sixty_minutes(laptop: Client) -> None:
    """Hours are taken as they are written."""
    job = job_key(laptop)
    assert laptop.get(f"/api/jobs/{job}/left?minutes=1h").json == laptop.get(f"/api/jobs/{job}/left?minutes=60").json


def test_a_job_without_lenses_has_nothing_left(server: Served) -> None:
    """Nothing to test, nothing untested; and one lens nobody read asks for its map."""
    client = Client(server.app)
    client.get("/help")
    job = client.post("/api/jobs", {"name": "Harbour", "units": "metric"}).json["key"]
    text = client.get(f"/job/{job}/left").text
    assert "Nothing is left that would win any depth." in text
    other = Client(server.app)
    other.get("/help")
    lens = {"id": "L1", "focal": "50 mm", "stop": "T1.4"}
    assert other.post(f"/api/jobs/{job}/lenses", lens).status == 200
    assert "Read its focus scale" in other.get(f"/job/{job}/left").text


def test_what_is_not_there_is_not_found(laptop: Client) -> None:
    """Nobody's job is 404, a field nobody knows 422."""
    assert laptop.get(f"/job/{NOBODY}/left").status == 404
    assert laptop.get(f"/api/jobs/{job_key(laptop)}/left?ink=gold").status == 422
