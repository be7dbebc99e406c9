"""The page Radio: the figures of the command, what is tried besides, and words in place of what cannot be read."""

import html
import json
import re
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pymupdf
import pytest

from tapehook.job import read_job
from tapehook.prep.radio import plan_radio
from tapehook.prep.radio_as_json import radio_as_json
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.kit import Served, job_key, new_lens

DEMO = Path(str(files("tapehook") / "demo_job"))


def plan(client: Client, *fields: tuple[str, str]) -> dict[str, Any]:
    """The plan as JSON, for fields in order."""
    answer = client.get(f"/api/jobs/{job_key(client)}/radio?{urlencode(fields)}")
    assert answer.status == 200, answer.text
    found: dict[str, Any] = answer.json
    return found


def part(client: Client, *fields: tuple[str, str]) -> str:
    """The part of the page that follows the fields."""
    return str(client.get(f"/part/radio/{job_key(client)}?{urlencode(fields)}").json["parts"]["radio"])


def test_the_interface_gives_what_the_command_prints(laptop: Client) -> None:
    """The same plan as from the folder, in the documented shape."""
    found = plan(laptop)
    assert list(misfits(found, schema("radio"))) == []
    assert found == json.loads(json.dumps(radio_as_json(plan_radio(read_job(DEMO)))))


def test_the_page_shows_each_camera_its_margin_and_the_caution(laptop: Client) -> None:
    """Channels, margins, who decides, two pictures of each kind, and the sheets as a PDF."""
    found = plan(laptop)
    page = laptop.get(f"/job/{job_key(laptop)}/radio").text
    for letter, one in found["networks"].items():
        assert f'<option value="{one["band"]}:{one["channel"]}"' in page
        assert f'data-letter="{letter}"' in page
        assert f"{one['margin_db']:.1f} dB" in page
    assert "coordinator decide" in page
    assert page.count("data-per=") == 2
    pdf = laptop.get(f"/job/{job_key(laptop)}/radio.pdf")
    assert pdf.header("content-type") == "application/pdf"
    with pymupdf.open(stream=pdf.body) as document:
        assert document.page_count == 5


def test_what_is_tried_changes_the_plan(laptop: Client) -> None:
    """A frequency taken, channels set, channels kept, a place moved, somebody switched on, a scan."""
    first = plan(laptop)
    chosen = [("ch", f"{one['band']}:{one['channel']}") for one in first["networks"].values()]
    lost = first["networks"]["B"]["centre_mhz"]
    kept = plan(laptop, ("mode", "keep"), *chosen, ("taken", f"{lost:g}"))
    assert kept["moved"] == ["B"]
    clash = plan(laptop, ("mode", "judge"), chosen[0], chosen[0], chosen[2])
    assert clash["networks"]["B"]["channel"] == first["networks"]["A"]["channel"]
    assert clash["networks"]["A"]["margin_db"] < first["networks"]["A"]["margin_db"] - 10
    near = plan(laptop, ("place", ""), ("place", "0, 3"))
    assert near["networks"]["A"]["links"][0]["distance_m"] == pytest.approx(3.0)
    loud = plan(laptop, ("mode", "judge"), *chosen, ("more", "2405"), ("more_at", "1, 1"))
    assert loud["networks"]["A"]["margin_db"] < first["networks"]["A"]["margin_db"] - 10
    assert loud["networks"]["A"]["links"][0]["eaten_by"][0]["name"] == "what if: 2405 MHz"
    scan = "\n".join(f"{2400 + k},-50" for k in range(84))
    heard = plan(laptop, ("mode", "judge"), *chosen, ("scan", scan))
    assert heard["networks"]["A"]["heard_dbm"] == pytest.approx(-47.0, abs=0.5)


@pytest.mark.parametrize(
    "fields, said",
    [
        ((("taken", "all of it"),), "such as 2450"),
        ((("place", "far"),), "x and y in metres"),
        ((("place", "1, 1e9"),), "x and y in metres"),
        ((("more", "Wi-Fi 99"),), "Wi-Fi 6"),
        ((("scan", "loud"),), "the scan"),
        ((("mode", "judge"), ("ch", "900:1")), "2450:15"),
        ((("mode", "judge"), ("ch", "2450:99")), "channel of IEEE 802.15.4"),
    ],
)
def test_what_cannot_be_read_is_said_in_its_place(
    laptop: Client, fields: tuple[tuple[str, str], ...], said: str
) -> None:
    """On the page as an alert, in the interface as problems, and no PDF."""
    assert 'role="alert"' in part(laptop, *fields)
    assert said in part(laptop, *fields)
    assert any(said in one for one in plan(laptop, *fields)["problems"])
    assert laptop.get(f"/job/{job_key(laptop)}/radio.pdf?{urlencode(fields)}").status == 404


def test_a_job_without_radios_says_what_to_add(server: Served) -> None:
    """Region and radios, by their names in job.toml; nothing else is shown."""
    client = Client(server.app)
    client.get("/help")
    job, _ = new_lens(client)
    page = client.get(f"/job/{job}/radio").text
    assert "[[radios]]" in page
    assert "region" in page
    assert "The lot from above" not in page


def test_text_that_means_harm_is_only_text(laptop: Client) -> None:
    """Fields given back on the page are escaped, and none is taken for markup."""
    evil = "<script>alert(1)</script>"
    page = laptop.get(f"/job/{job_key(laptop)}/radio?{urlencode({'taken': evil, 'scan': evil, 'more': evil})}").text
    assert evil not in page
    assert "&lt;script&gt;alert(1)" in page
    assert laptop.get(f"/api/jobs/{job_key(laptop)}/radio?ink=gold").status == 422


def test_a_device_that_may_only_look_may_ask(viewer: Client) -> None:
    """Page, part, JSON and PDF change nothing, so a device let in to look gets them."""
    job = job_key(viewer)
    for address in (f"/job/{job}/radio", f"/part/radio/{job}", f"/api/jobs/{job}/radio", f"/job/{job}/radio.pdf"):
        assert viewer.get(address).status == 200


def test_the_plan_goes_into_the_full_handover(laptop: Client) -> None:
    """Left out unless wanted; the best one, or as set on the page Radio, which leads there with its channels."""
    job = job_key(laptop)
    page = laptop.get(f"/job/{job}/radio").text
    address = html.unescape(re.findall(r'href="([^"]+/handover\?[^"]+)"', page)[0])
    handover = laptop.get(address).text
    channels = re.findall(r'name="ch" value="([^"]*)"', handover)
    networks = laptop.get(f"/api/jobs/{job}/radio").json["networks"]
    assert channels == [f"{networks[k]['band']}:{networks[k]['channel']}" for k in sorted(networks)]
    assert 'value="set" selected' in handover
    assert 'value="set"' not in laptop.get(f"/job/{job}/handover").text

    def words(query: str) -> str:
        data = laptop.get(f"/job/{job}/pack.pdf?{query}").body
        with pymupdf.open(stream=data, filetype="pdf") as document:
            return " ".join(" ".join(str(sheet.get_text()).split()) for sheet in document)

    wanted = f"channel {networks['A']['channel']}"
    assert wanted not in words("")
    assert wanted in words("radio=plan")
    other = next(one for one in ("2450:11", "2450:26") if one != channels[0])
    chosen = "&".join(f"ch={one}" for one in [other, *channels[1:]])
    assert f"channel {other.partition(':')[2]}" in words(f"radio=set&{chosen}")
