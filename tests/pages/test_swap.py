"""A lens is swapped, on its page and as JSON: exactly what it spoils, the two marks that clear it, nothing kept."""

import re
from urllib.parse import urlencode

from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.kit import NOBODY, job_key, lens_key


def _address(client: Client, row_id: str = "L05", **fields: str) -> str:
    job = job_key(client)
    return f"jobs/{job}/swap/{lens_key(client, job, row_id)}?{urlencode(fields)}"


def test_the_json_is_that_of_the_command(laptop: Client) -> None:
    """In the shape of ``tapehook swap --json``, before and after the two marks."""
    before = laptop.get("/api/" + _address(laptop, comes="50431")).json
    after = laptop.get(
        "/api/" + _address(laptop, comes="50431", far="156.8", far_back="157.0", near="275.3", near_back="275.6")
    ).json
    for found in (before, after):
        assert list(misfits(found, schema("swap"))) == []
    assert (before["settled"], after["settled"]) == (False, True)


def test_the_page_lists_exactly_what_the_json_lists(laptop: Client) -> None:
    """A row for each thing, cleared or open, and a field for each of the two marks."""
    fields = {"comes": "50431", "far": "156.8", "far_back": "157.0", "near": "275.3", "near_back": "275.6"}
    address = _address(laptop, **fields)
    found = laptop.get("/api/" + address).json
    text = laptop.get("/" + address.replace("jobs/", "job/", 1)).text
    rows = re.findall(r'<tr class="(cleared|open)"><th scope="row"><bdi>([^<]*)</bdi>', text)
    assert rows == [("cleared" if one["cleared"] else "open", one["name"]) for one in found["spoilt"]]
    assert {"focus strip of L05", "window"} <= {name for _, name in rows}
    assert 'name="far" value="156.8"' in text


def test_what_cannot_be_read_is_said(laptop: Client) -> None:
    """A position in words is refused beside the field, with the mark it was typed for; the list stays."""
    text = laptop.get("/" + _address(laptop, far="at the stop").replace("jobs/", "job/", 1)).text
    assert 'role="alert"' in text
    assert "5&#39;: " in text
    assert "focus strip of L05" in text


def test_typed_text_stays_text(laptop: Client) -> None:
    """Whatever is typed as a serial is shown as text."""
    text = laptop.get("/" + _address(laptop, comes="<script>alert(1)</script>").replace("jobs/", "job/", 1)).text
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text


def test_a_lens_that_is_not_there_is_not_found(laptop: Client) -> None:
    """Nobody's key is 404, and a field nobody knows 422."""
    assert laptop.get(f"/api/jobs/{job_key(laptop)}/swap/{NOBODY}").status == 404
    assert laptop.get("/api/" + _address(laptop, ink="gold")).status == 422
