"""Figures out of range that an old book holds are shown on Kit and Bench, put right there, and never in the way."""

import re
from pathlib import Path

import pytest

from tapehook.book.jobs import load_job
from tapehook.job.set_aside import set_aside
from tests.book.kit import take_in
from tests.book.old_books import old_folder
from tests.pages.asking import Client
from tests.pages.conftest import let_in
from tests.pages.kit import Served, job_key, lens_key


@pytest.fixture
def client(server: Served, tmp_path: Path) -> Client:
    """The laptop on a book written before there were limits."""
    take_in(server.book, old_folder(tmp_path / "old"))
    client = Client(server.app)
    client.get("/help")
    return client


def test_every_page_of_such_a_job_opens(client: Client) -> None:
    """The job is in the list, and Prep, Bench, On set and Kit show it, with what is held and expected."""
    job = job_key(client)
    assert "Harbour" in client.get("/jobs").text
    lens = lens_key(client, job, "L1")
    for path in ("prep", f"bench/{lens}", "onset", "kit", "handover", "light", "strips"):
        assert client.get(f"/job/{job}/{path}").status == 200, path
    assert "focal_mm is held as 0.05" in client.get(f"/job/{job}/bench/{lens}").text
    assert "held as 0.2, expected at least 0.5" in client.get(f"/job/{job}/kit").text


PUT_RIGHT = {
    ("lenses", "focal_mm"): "50 mm",
    ("readings", "focal_mm"): "35",
    ("charts", "t_stop"): "T2",
    ("tstops", "t_stop"): "2.8",
    ("cameras", "sensor_width_mm"): "24.9",
    ("criterion", "coc_mm"): "0.025",
}


def _forms(client: Client) -> dict[tuple[str, str], dict[str, str]]:
    """What each form of Kit sends beside the figure, by table and field, read from the page."""
    text = client.get(f"/job/{job_key(client)}/kit").text
    found = re.findall(
        r'name="table" value="(.*?)"><input type="hidden" name="key" value="(.*?)">.*?value="(.*?)">', text
    )
    return {(table, field): {"table": table, "key": key, "field": field} for table, key, field in found}


def test_each_is_put_right_on_the_page(server: Served, client: Client) -> None:
    """One after the other; then none is left, and the figures are those typed."""
    job = job_key(client)
    forms = _forms(client)
    assert forms.keys() == PUT_RIGHT.keys()
    for which, typed in PUT_RIGHT.items():
        answer = client.post(f"/api/jobs/{job}/out-of-range", {**forms[which], "value": typed})
        assert answer.status == 200, answer.text
    now = load_job(server.book, "Harbour")
    assert list(set_aside(now)) == []
    assert (now.lenses[0].focal_mm, now.readings[2].focal_mm, now.charts[0].t_stop) == (50.0, 35.0, 2.0)
    assert (now.tstops[0].t_stop, now.cameras[0].sensor_width_mm, now.criterion.coc_mm) == (2.8, 24.9, 0.025)
    assert "Out of range" not in client.get(f"/job/{job}/kit").text


@pytest.mark.parametrize(
    "which, typed, said",
    [
        (("lenses", "focal_mm"), "0.05", "focal length"),
        (("charts", "t_stop"), "f/2", 'stop: read "f/2"'),
        (("tstops", "t_stop"), "", "a test is none without it"),
        (("criterion", "coc_mm"), "25", 'coc mm: read "25.0", expected at most 1'),
    ],
)
def test_what_cannot_be_either_is_refused(
    which: tuple[str, str], typed: str, said: str, server: Served, client: Client
) -> None:
    """In words, and nothing is written."""
    form = _forms(client)[which]
    answer = client.post(f"/api/jobs/{job_key(client)}/out-of-range", {**form, "value": typed})
    assert answer.status == 422
    assert said in answer.json["problems"][0]["sentence"]
    assert len(list(set_aside(load_job(server.book, "Harbour")))) == len(PUT_RIGHT)


def test_one_may_be_taken_away_and_is_gone_then(server: Served, client: Client) -> None:
    """An empty field leaves the lens without a focal length; a second press is told."""
    form = _forms(client)["lenses", "focal_mm"]
    path = f"/api/jobs/{job_key(client)}/out-of-range"
    assert client.post(path, {**form, "value": None}).status == 200
    assert load_job(server.book, "Harbour").lenses[0].focal_mm is None
    assert client.post(path, {**form, "value": "50"}).status == 404


def test_another_edit_on_kit_loses_none(server: Served, client: Client) -> None:
    """A shooting stop is set and a camera changed; whatever is out of range is still held."""
    job = job_key(client)
    assert client.post(f"/api/jobs/{job}/facts", {"units": "metric", "shooting_stop": "T4"}).status == 200
    assert client.post(f"/api/jobs/{job}/cameras", {"letter": "A", "colour": "red"}).status == 200
    assert len(list(set_aside(load_job(server.book, "Harbour")))) == len(PUT_RIGHT)


def test_who_may_only_look_sees_them_without_a_form(server: Served, client: Client) -> None:
    """The figures are there, and nothing to press."""
    viewer = let_in(server, "view")
    text = viewer.get(f"/job/{job_key(client)}/kit").text
    assert "held as 0.05" in text
    assert "out-of-range" not in text
