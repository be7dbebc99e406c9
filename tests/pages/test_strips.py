"""The Strips page: what it shows is what is printed, and what cannot be read is said in its place."""

import re
from pathlib import Path
from typing import Any

import pymupdf
import pytest

from tapehook.book.folders import read_folder
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Writer
from tapehook.job.writing import write_job
from tapehook.pages.strip_routes import MOST_DRAWN
from tests.cli.shapes import misfits, schema
from tests.handover.strip_reading import read_sheet
from tests.pages.asking import Client
from tests.pages.kit import NOBODY, Served, job_key, lens_key, measured_lens, new_lens
from tests.prep.jobs import a_lens, read_off
from tests.simulator.paper import a_job

MM = 72.0 / 25.4


def _strips(client: Client, **fields: str) -> dict[str, Any]:
    job = job_key(client)
    lens = lens_key(client, job, "L03")
    query = "&".join(f"{name}={value}" for name, value in fields.items())
    answer = client.get(f"/api/jobs/{job}/strips?lens={lens}&{query}")
    assert answer.status == 200, answer.text
    found: dict[str, Any] = answer.json
    return found


def test_each_strip_has_the_shape_of_the_command(laptop: Client) -> None:
    """JSON of the interface is that of ``tapehook strip --json`` but for the file; so is that of a blank strip."""
    for fields in ({"diameter": "80mm", "units": "both", "stop": "T2.8"}, {"diameter": "80mm", "marks": "deg"}):
        (strip,) = _strips(laptop, **fields)["strips"]
        assert list(misfits({**strip, "file": "strip.pdf"}, schema("strip"))) == []
        assert strip["overlaps"] == 0
        assert strip["ring_mm"] == pytest.approx(80.0)


def test_the_picture_on_the_page_is_as_long_as_its_strip(laptop: Client) -> None:
    """The page's picture is in millimetres, a unit of its view a point; its scale is as long as the JSON says."""
    (strip,) = _strips(laptop, diameter="80mm")["strips"]
    job = job_key(laptop)
    text = laptop.get(f"/job/{job}/strips?lens={lens_key(laptop, job, 'L03')}&diameter=80mm").text
    found = re.search(r'data-mm="([\d.]+)"><svg [^>]*viewBox="0 0 ([\d.]+) [\d.]+" width="([\d.]+)mm"', text)
    assert found is not None
    said, view, wide = (float(part) for part in found.groups())
    assert said == wide == pytest.approx(view / MM, abs=0.005)
    assert f"Scale {strip['length_mm']:.1f} mm" in text
    assert wide > strip["length_mm"]


def test_page_and_pdf_draw_the_same(laptop: Client) -> None:
    """Every label on the page's picture stands in the PDF too, read back with an independent reader."""
    job = job_key(laptop)
    query = f"lens={lens_key(laptop, job, 'L03')}&diameter=80mm&units=both"
    page, pdf = laptop.get(f"/job/{job}/strips?{query}").text, laptop.get(f"/job/{job}/strips.pdf?{query}")
    assert pdf.header("content-type") == "application/pdf"
    drawn = page.partition('class="strip-piece"')[2].partition("</svg>")[0]
    labels = re.findall(r">([^<>]+)</text>", drawn.replace("&#39;", "'").replace("&quot;", '"'))
    with pymupdf.open(stream=pdf.body) as document:
        printed = document[0].get_text()
        assert document[0].rect.width > document[0].rect.height
    assert len(labels) > 20
    assert [label for label in labels if label not in printed] == []


def test_what_cannot_be_read_is_said_on_the_page(laptop: Client) -> None:
    """A field that is no length or stop is named with what was expected, on the page; the interface refuses with it."""
    job = job_key(laptop)
    query = f"lens={lens_key(laptop, job, 'L03')}&diameter=wide&stop=bright&tape=1mm"
    page = laptop.get(f"/part/strips/{job}?{query}").json["parts"]["strips"]
    for field, read in (("diameter", "wide"), ("depth at", "bright"), ("tape", "1mm")):
        assert f"{field}: read &#34;{read}&#34;" in page
    answer = laptop.get(f"/api/jobs/{job}/strips?{query}")
    assert answer.status == 422
    assert len(answer.json["problems"]) == 3


def test_diameter_and_circumference_are_not_both_taken(laptop: Client) -> None:
    """Two sizes of one ring could differ, and one would be wrong."""
    job = job_key(laptop)
    answer = laptop.get(f"/api/jobs/{job}/strips?diameter=80mm&circumference=251mm")
    assert answer.status == 422
    assert "not both" in answer.text


def test_a_whole_rental_house_of_strips(server: Served, tmp_path: Path) -> None:
    """Eighty lenses: one PDF with all of them at 1:1, and the bar of 100 mm on each of its sheets; the
    page draws some and names the rest.
    """
    lenses = [a_lens(f"N{i}", serial=str(1000 + i), ring_diameter_mm=80.0) for i in range(80)]
    readings = [one for lens in lenses for one in read_off(lens_id=lens.id)]
    write_job(a_job(lenses, readings, title="House"), tmp_path / "House")
    read = read_folder(tmp_path / "House")
    with server.book.writing(Writer("Mara", "house")) as writing:
        carry_out(writing, plan_import(writing.connection, read, Answers()), read)
    client = Client(server.app)
    client.get("/")
    job = job_key(client)
    keys = [one["key"] for one in client.get(f"/api/jobs/{job}/lenses").json["lenses"]]
    query = "&".join(f"lens={key}" for key in keys)
    page = client.get(f"/job/{job}/strips?{query}").text
    assert page.count('<article class="strip') == MOST_DRAWN
    assert f"{80 - MOST_DRAWN} more in the PDF" in page
    assert "serial 1079" in page.partition("more in the PDF")[2]
    sheet = read_sheet(client.get(f"/job/{job}/strips.pdf?{query}").body)
    assert len(sheet.pieces) == 80
    assert len(sheet.bars_mm) > 8
    assert sheet.bars_mm == pytest.approx([100.0] * len(sheet.bars_mm), abs=0.01)
    shapes = client.get(f"/api/jobs/{job}/strips?{query}").json["strips"]
    lengths = sorted(one["length_mm"] for one in shapes)
    widths = sorted(piece.width for piece in sheet.pieces)
    assert [wide - long for wide, long in zip(widths, lengths, strict=True)] == pytest.approx(
        [widths[0] - lengths[0]] * 80, abs=0.05
    )


def test_a_ring_of_unknown_size_is_shown_in_proportion_only(server: Served) -> None:
    """No diameter is guessed: the strip is drawn without a size, is in no JSON and no PDF, and the page says why."""
    client = Client(server.app)
    client.get("/")
    job, lens = measured_lens(client)
    page = client.get(f"/job/{job}/strips?lens={lens}").text
    assert "In proportion only" in page
    assert "the diameter of its ring is not known" in page
    assert "PDF at 1:1" not in page
    answer = client.get(f"/api/jobs/{job}/strips?lens={lens}").json
    assert answer["strips"] == []
    assert [one["lens"] for one in answer["refused"]] == ["L1"]
    assert client.get(f"/job/{job}/strips.pdf?lens={lens}").status == 404


def test_a_lens_without_a_map_says_so(server: Served) -> None:
    """Nothing is drawn of a lens that was not read, and the sentence names it."""
    client = Client(server.app)
    client.get("/")
    job, lens = new_lens(client)
    page = client.get(f"/job/{job}/strips?lens={lens}&diameter=80mm").text
    assert "strip-piece" not in page
    assert "there is no focus map" in page
    blank = client.get(f"/api/jobs/{job}/strips?lens={lens}&diameter=80mm&marks=percent").json
    assert [one["unit"] for one in blank["strips"]] == ["percent"]


def test_the_far_end_goes_to_the_side_asked_for(laptop: Client) -> None:
    """Mirrored scales are the same marks from the other end, their labels the right way round."""
    (right,) = _strips(laptop, diameter="80mm")["strips"]
    (left,) = _strips(laptop, diameter="80mm", far_end="left")["strips"]
    there = {(tick["label"], round(tick["arc_mm"], 6)) for tick in right["ticks"] if tick["label"]}
    back = {(tick["label"], round(left["length_mm"] - tick["arc_mm"], 6)) for tick in left["ticks"] if tick["label"]}
    assert there == back


def test_what_is_not_there_is_not_found(laptop: Client) -> None:
    """A lens of no job is a 404, a field the page does not have a refusal."""
    job = job_key(laptop)
    assert laptop.get(f"/api/jobs/{job}/strips?lens={NOBODY}").status == 404
    assert laptop.get(f"/api/jobs/{job}/strips?ink=gold").status == 422


def test_a_hostile_title_is_text(server: Served) -> None:
    """A model and a serial full of markup stand on the page and in its pictures as text."""
    client = Client(server.app)
    client.get("/")
    nasty = "<script>alert(1)</script>\"'#{x}"
    job, lens = new_lens(client, model=nasty, serial=nasty)
    text = "\n".join(f"{feet}'\t{600 / feet:.1f}" for feet in (2, 2.5, 3, 4, 5, 7, 10, 20))
    assert client.post(f"/api/jobs/{job}/bench/{lens}/column", {"text": text}).status == 200
    page = client.get(f"/job/{job}/strips?lens={lens}&diameter=80mm").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert client.get(f"/job/{job}/strips.pdf?lens={lens}&diameter=80mm").body.startswith(b"%PDF")


def test_the_full_handover_has_its_signatures(server: Served) -> None:
    """Signed off on the page, it stands on the cover of the pack, as text, with the strip of a ring of stated size."""
    client = Client(server.app)
    client.get("/")
    job, lens = measured_lens(client)
    who = "<i>Ada</i> =1+1 " + "שלום \u202e" + "x" * 150
    assert client.post(f"/api/jobs/{job}/sign", {"lens": lens, "who": who}).status == 200
    answer = client.get(f"/job/{job}/pack.pdf?diameter=80mm&paper=us-letter")
    assert answer.header("content-type") == "application/pdf"
    with pymupdf.open(stream=answer.body) as document:
        cover = document[0].get_text()
        text = "".join(page.get_text() for page in document)
        assert document[0].rect.width == pytest.approx(612)
    assert "Signed off" in cover
    assert "<i>Ada</i> =1+1" in " ".join(cover.split())
    assert "Strip for each lens: 1 of 1 at 1:1" in text


def test_the_tables_come_as_a_workbook(viewer: Client) -> None:
    """A device that may only look may take the tables along."""
    answer = viewer.get(f"/job/{job_key(viewer)}/tables.xlsx")
    assert answer.status == 200
    assert answer.body.startswith(b"PK")


def test_a_pack_for_a_ring_of_no_size_is_refused(laptop: Client) -> None:
    """What cannot be read is said; no pack is made of it."""
    answer = laptop.get(f"/job/{job_key(laptop)}/pack.pdf?diameter=wide")
    assert answer.status == 422
    assert "wide" in answer.text
