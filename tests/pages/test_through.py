"""Extender and port of a lens on the pages: shown at the bench as prep has them, typed, kept, taken out, and On set."""

import re
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from tapehook.book.working import open_job
from tapehook.job import read_job
from tapehook.optics.through import Through
from tapehook.pages.desk import Desk
from tapehook.prep.extender import extended_lens
from tapehook.prep.through_map import through_rows
from tapehook.prep.wording import percent
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.kit import NOBODY, Served, job_key, lens_key

DEMO = Path(str(files("tapehook") / "demo_job"))
JOB = "Ninety Herons, prep"


def _bench(client: Client, row_id: str) -> str:
    job = job_key(client)
    return client.get(f"/job/{job}/bench/{lens_key(client, job, row_id)}").text


def _keep(client: Client, row_id: str, **fields: Any) -> Any:  # noqa: ANN401
    job = job_key(client)
    return client.post(f"/api/jobs/{job}/bench/{lens_key(client, job, row_id)}/through", fields)


def test_a_lens_without_either_has_no_more_than_before(laptop: Client) -> None:
    """No section, no switch."""
    text = _bench(laptop, "L05")
    assert 'class="card through"' not in text
    assert 'name="through"' not in text


def test_the_bench_shows_both_ways_the_lens_is_used(laptop: Client, demo_server: Served) -> None:
    """The figures of prep: focal length, stop, share with its stop; and where the ring stands at the set stop."""
    text = _bench(laptop, "L03")
    desk = Desk(demo_server.book)
    entry = desk.prep(desk.job(job_key(laptop))).lens("L03")
    found = extended_lens(entry)
    assert found is not None
    with_it = text.partition('data-view="1"')[2]
    focal = f"{25 * found.extender.factor:.0f} mm"
    for figure in (focal, found.works_at.text, found.set_to.text, f"{percent(found.own)} at {found.works_at.text}"):
        assert f"<dd>{figure}</dd>" in with_it
    assert f"<dd>{1e3 * found.extender.length_m:.0f} mm</dd>" in with_it, "its length, off each taped distance"
    rows = through_rows(entry, Through(found.extender), found.set_to)
    shown = re.findall(r'<tr><th scope="row">([^<]*)</th><td>([^<]*)</td>', with_it)
    assert {at for at, _ in shown} <= {row.text.replace("'", "&#39;").replace('"', "&#34;") for row in rows}
    assert len(shown) == min(8, len(rows))
    assert f"the iris ring at {found.set_to.text}" in with_it


def test_what_is_typed_is_kept_and_taken_out(server: Served, client: Client) -> None:
    """In the units written; the rest of the lens and its readings stay; a blank field takes it out."""
    before = open_job(server.book, JOB).job
    fields = {"extender": "2x", "extender_length": "3 cm", "port": "100", "port_front": "180 mm", "port_glass": "5"}
    answer = _keep(client, "L05", **fields, water="sea")
    assert answer.status == 200, answer.text
    lens = next(one for one in open_job(server.book, JOB).job.lenses if one.id == "L05")
    assert (lens.extender, lens.extender_length_mm) == (2.0, 30.0)
    assert (lens.port, lens.port_front_mm, lens.port_glass_mm, lens.water) == (100.0, 180.0, 5.0, "sea")
    text = _bench(client, "L05")
    assert "with the 2x" in text
    assert "behind the dome of 100 mm" in text
    assert 'name="port_front" value="180"' in text
    codes = {one["code"] for one in client.get(f"/api/jobs/{job_key(client)}/prep").json["findings"]}
    assert {"extender.share"} <= codes
    assert any(code.startswith("port.") for code in codes)
    assert _keep(client, "L05", **dict.fromkeys(fields)).status == 200
    after = open_job(server.book, JOB).job
    assert after.readings == before.readings
    assert [one.model_copy(update={"row": None}) for one in after.lenses] == [
        one.model_copy(update={"row": None}) for one in before.lenses
    ]


@pytest.mark.parametrize(
    "fields, words",
    [
        ({"extender": "long"}, "a factor from 1 to 4"),
        ({"extender": "5x"}, "a factor from 1 to 4"),
        ({"extender_length": "30"}, "extender: "),
        ({"port": "round"}, "flat, or the radius"),
        ({"port": "100 mm"}, "port from the sensor: "),
        ({"port_front": "180"}, "port: "),
        ({"water": "sea"}, "port: "),
        ({"port": "100", "port_front": "180", "port_glass": "120"}, "glass of the port: "),
        ({"port": "5 m", "port_front": "180"}, "from 10 to 2000"),
        ({"extender": "1.4", "extender_length": "2 m"}, "500"),
    ],
)
def test_what_cannot_be_read_is_said_and_not_kept(
    server: Served, client: Client, fields: dict[str, str], words: str
) -> None:
    """In words by its field; the lens is as it was."""
    before = open_job(server.book, JOB).job.lenses
    answer = _keep(client, "L05", **fields)
    assert answer.status == 422
    assert words in answer.text
    assert list(misfits(answer.json, schema("problems"))) == []
    assert open_job(server.book, JOB).job.lenses == before


def test_a_viewer_sees_it_and_has_no_form(viewer: Client) -> None:
    """The switch is there to look with; the fields are not."""
    text = _bench(viewer, "L03")
    assert 'name="through"' in text
    assert 'name="extender"' not in text


def test_a_port_without_a_map_and_a_lens_that_is_not_there(client: Client) -> None:
    """Figures as far as they go, no table; nobody's lens is 404."""
    assert _keep(client, "L21", port="flat", port_front="180", extender="1.4").status == 200
    text = _bench(client, "L21")
    assert "with the 1.4x" in text
    assert "behind the flat port" in text
    job = job_key(client)
    assert client.post(f"/api/jobs/{job}/bench/{NOBODY}/through", {}).status == 404


def test_on_set_carries_the_extender(laptop: Client) -> None:
    """Of the lens that has one its factor and length, of others none."""
    job = job_key(laptop)
    data = laptop.get(f"/api/jobs/{job}/onset").json
    assert 'id="extender"' in laptop.get(f"/job/{job}/onset").text
    extenders = {one["id"]: one["extender"] for one in data["lenses"]}
    lens = next(one for one in read_job(DEMO).lenses if one.id == "L03")
    assert lens.extender_length_mm is not None
    assert extenders["L03"]["factor"] == lens.extender
    assert extenders["L03"]["lengthM"] == pytest.approx(lens.extender_length_mm / 1e3)
    assert extenders["L03"]["behind"] == ["glass behind the lens"]
    assert {name for name, found in extenders.items() if found} == {"L03"}
