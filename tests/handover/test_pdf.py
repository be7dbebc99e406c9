"""The pack: its figures are those of ``prepare``, on the paper asked for, the same to the byte each time."""

import hashlib
import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pymupdf
import pytest

import tapehook
from tapehook.handover import typesetting
from tapehook.handover.glyphs import FONTS
from tapehook.handover.pdf import Paper, TypesettingError, render_pdf
from tapehook.handover.pdf_pictures import rule_row, rule_scale
from tapehook.job import Job, Reading, read_job
from tapehook.job.records import Lens
from tapehook.notation import format_distance, format_position
from tapehook.picture.depth_rule import rule_ticks
from tapehook.prep import DepthRow, LensPrep, MarkRow, Prep, prepare
from tapehook.prep.forgiveness import chance_at_worst
from tapehook.prep.room import optics_of
from tests.handover.pack_reading import Pack, plain
from tests.truth.tables import MAPS

POINTS_PER_MM = 72 / 25.4
PAPERS: tuple[Paper, ...] = ("a4", "us-letter")


def _number(value: float, entry: LensPrep) -> str:
    """A position as its column has it: house style, without the unit that heads it."""
    text = format_position(value, entry.lens.unit, step=entry.lens.reading_step)
    return text.removesuffix("°").removesuffix(" %").removesuffix(" mm")


def _said(text: str) -> str:
    """A sentence as it is printed."""
    return plain(text.replace("+-", "±"))


def _readings_of(job: Job, lens_id: str) -> tuple[Reading, ...]:
    return tuple(reading for reading in job.readings if reading.lens_id == lens_id)


# --- the figures --------------------------------------------------------------------------------------------


def test_ring_positions_are_those_of_prep(demo_prep: Prep, demo_pack: Pack) -> None:
    """Each round distance stands in a line with its position and its +-, rounded as the column is and no further."""
    seen = 0
    for entry in demo_prep.lenses:
        found = demo_pack.lines_of(entry.title)
        for row in entry.rounds:
            expected = re.escape(f"{row.text} {_number(row.position, entry)}") + r" (\d+\.?\d*)"
            widths = re.findall(r"(?<!\S)" + expected, found)
            assert widths, (entry.title, row)
            # A mark of the same name and position may stand in a line of its own: one match is enough.
            assert any(_rounds_to(row.plus_minus, width) for width in widths), (entry.title, row, widths)
            seen += 1
    assert seen > 400


def _rounds_to(value: float, text: str) -> bool:
    """True when the text is the value rounded to its digits, and no nought."""
    digit = 10.0 ** -len(text.partition(".")[2])
    return float(text) > 0 and abs(float(text) - value) <= 0.501 * digit


def test_marks_and_their_shares_are_those_of_prep(demo_prep: Prep, demo_pack: Pack) -> None:
    """Each mark stands with its reading and, where two stops differ, the depth used at both."""
    seen = 0
    for entry in demo_prep.lenses:
        found = demo_pack.lines_of(entry.title)
        for mark in entry.marks:
            name = re.escape(mark.text) + r"\*? " + re.escape(_number(mark.position, entry)) + r" [+−]?[\d.]+ "
            assert re.search(name + re.escape(_used(mark, entry)), found), (entry.title, mark)
            seen += 1
    assert seen > 300


def _used(mark: MarkRow, entry: LensPrep) -> str:
    """Depth used by a mark as printed: at both stops, or once where they are the same."""
    shares = [mark.used_widest] if entry.widest == entry.shooting else [mark.used_widest, mark.used_shooting]
    return " ".join("> 999 %" if share >= 10 else f"{share * 100:.0f} %" for share in shares if share is not None)


def test_near_and_far_are_those_of_prep(demo_prep: Prep, demo_pack: Pack) -> None:
    """Each row of the depth table has a pair for each stop, in house style or as what it reaches."""
    seen = 0
    for entry in demo_prep.lenses:
        # Near and far stand in two cells: whether a space is read between them depends on the reader.
        found = re.sub(" ?– ?", " – ", demo_pack.lines_of(entry.title))
        for row in entry.depth_rows:
            pairs = [_pair(near, far, row) for near, far in zip(row.near_m, row.far_m, strict=True)]
            assert " ".join([row.text, *pairs]) in found, (entry.title, row)
            seen += len(pairs)
    assert seen > 800


def _pair(near_m: float, far_m: float, row: DepthRow) -> str:
    """Near and far as printed; where house style would show no depth, how far they are from the focus."""
    near, far = format_distance(near_m, row.system), format_distance(far_m, row.system)
    if row.text not in (near, far) or row.text == "∞":
        return f"{near} – {far}"
    reach = (row.distance_m - near_m, far_m - row.distance_m)
    if row.system == "imperial":
        return f'−{reach[0] / 0.0254:.2f}" +{reach[1] / 0.0254:.2f}"'
    texts = [f"{length * 1e3:.1f} mm" if length < 0.01 else f"{length * 1e3:.0f} mm" for length in reach]
    return f"−{texts[0].removesuffix(' mm')} +{texts[1]}"


def test_budgets_are_those_of_prep(demo_prep: Prep, demo_pack: Pack) -> None:
    """Each bar says its stop, where the lens uses most, its own share, and the share with a taped distance."""
    for entry in demo_prep.lenses:
        found = demo_pack.lines_of(entry.title)
        for view in entry.budgets:
            budget = view.budget
            head = f"{view.stop.text} · lens itself, worst at {view.worst_text} {budget.worst_own * 100:.0f} %"
            assert head in found
            assert f"with a taped distance {budget.worst_total * 100:.0f} %" in found


def test_cover_says_what_must_be_acted_on(demo_prep: Prep, demo_pack: Pack) -> None:
    """All findings to fix and to watch stand on the cover, in full, worst first, with sign and word."""
    text = demo_pack.cover
    urgent = [finding for finding in demo_prep.findings if finding.severity in ("fix", "watch")]
    places = [text.find(_said(finding.message)) for finding in urgent]
    assert -1 not in places
    assert places == sorted(places)
    assert all(_said(finding.next_step) in text for finding in urgent)
    kinds = [finding.severity for finding in urgent]
    assert f"{kinds.count('fix')} to fix, {kinds.count('watch')} to watch" in text
    assert len(re.findall("× fix", text)) >= kinds.count("fix")
    assert len(re.findall("! watch", text)) >= kinds.count("watch")


def test_cover_lists_every_lens_with_its_share_and_stop(demo_prep: Prep, demo_pack: Pack) -> None:
    """One line a lens: name, serial, depth used with its stop, and the page it is on."""
    for entry in demo_prep.lenses:
        start = f"{entry.title.split(' · ')[0]} {entry.lens.serial or 'serial not read'} "
        row = next((line for line in demo_pack.cover_lines if line.startswith(start)), None)
        assert row is not None, start
        for view in entry.budgets:
            assert f"{view.budget.worst_own * 100:.0f} % at {view.stop.text}" in row
        assert row.split()[-1] == str(demo_pack.pages_of(entry.title)[0] + 1)


def test_assumptions_are_printed_as_such(demo_prep: Prep, demo_pack: Pack) -> None:
    """Those of the job on the cover, those of a lens on its page."""
    assert "Assumed on this job" in demo_pack.cover
    assert all(_said(sentence) in demo_pack.cover for sentence in demo_prep.assumptions)
    for entry in demo_prep.lenses:
        text = demo_pack.text_of(entry.title)
        assert all(_said(sentence) in text for sentence in entry.assumptions)


def test_findings_of_a_lens_stand_on_its_page(demo_prep: Prep, demo_pack: Pack) -> None:
    """All of them, and what to do next for those that ask for something."""
    for entry in demo_prep.lenses:
        text = demo_pack.text_of(entry.title)
        for finding in entry.findings:
            asked = finding.severity != "info"
            assert _said(f"{finding.message} {finding.next_step}" if asked else finding.message) in text


def test_each_camera_has_its_page(demo_prep: Prep, demo_pack: Pack) -> None:
    """Sensor, its lenses and their worst findings, and room for notes."""
    for camera in demo_prep.cameras:
        record = camera.camera
        text = demo_pack.text_of(f"Camera {record.letter} · {record.name}")
        assert f"{record.sensor_width_mm:g} × {record.sensor_height_mm:g} mm" in text
        assert "Notes" in text
        lenses = [demo_prep.lens(lens_id) for lens_id in camera.lens_ids]
        assert all(entry.title.split(" · ")[0] in text for entry in lenses)
        urgent = [f for entry in lenses for f in entry.findings if f.severity == "fix"]
        assert all(_said(finding.message) in text for finding in urgent)


def test_every_page_says_where_it_belongs(demo_prep: Prep, demo_pack: Pack) -> None:
    """Job, lens or camera, page of pages, and what made it, at the foot of each page."""
    title = demo_prep.job.title
    subjects = dict.fromkeys(range(len(demo_pack)), title)
    for entry in demo_prep.lenses:
        subjects |= dict.fromkeys(demo_pack.pages_of(entry.title), f"{title} · {entry.title}")
    for camera in (camera.camera for camera in demo_prep.cameras):
        pages = demo_pack.pages_of(f"Camera {camera.letter} · {camera.name}")
        subjects |= dict.fromkeys(pages, f"{title} · camera {camera.letter}")
    for i, page in enumerate(demo_pack.lines):
        of = f"page {i + 1} of {len(demo_pack)} made with tapehook {tapehook.__version__}"
        assert page[-1] == f"{subjects[i]} {of}"


# --- the paper ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper, size", [("a4", (595.276, 841.89)), ("us-letter", (612.0, 792.0))])
def test_paper_is_exact_and_a_lens_has_one_page(demo_prep: Prep, paper: Paper, size: tuple[float, float]) -> None:
    """ISO 216 A4 is 210 x 297 mm, US Letter 8.5 x 11 in, to 0.01 points; every lens of the demo job fits one page but,
    on the shorter Letter, the zoom with two more rings.
    """
    pack = Pack(render_pdf(demo_prep, paper=paper))
    for page in pack.pages:
        assert (page.rect.width, page.rect.height) == pytest.approx(size, abs=0.01)
    counts = {entry.lens.id: len(pack.pages_of(entry.title)) for entry in demo_prep.lenses}
    more = {lens_id for lens_id, count in counts.items() if count > 1}
    assert max(counts.values()) <= 2
    assert more == ({"L19"} if paper == "us-letter" else set())


@pytest.mark.parametrize("many", [1, 9, 25, 40])
def test_a_page_that_goes_over_carries_a_block_over(demo_prep: Prep, many: int) -> None:
    """However many findings a lens has: no page of it holds a line or two only, none begins within a table, and the
    last begins with a heading or a finding.
    """
    lens = demo_prep.lens("L09")
    entry = replace(lens, findings=lens.findings[:1] * many)
    prep = replace(demo_prep, lenses=(entry,), cameras=(), findings=entry.findings)
    for paper in PAPERS:
        pack = Pack(render_pdf(prep, paper=paper))
        pages = pack.pages_of(entry.title)
        for page in pages:
            assert len(pack.lines[page]) > 9, (many, paper, pack.lines[page])
        first = min(pack.spans[pages[-1]], key=lambda span: (round(span["bbox"][1]), span["bbox"][0]))
        assert first["font"].endswith("SmBld"), first


def test_the_chance_to_be_sharp_is_that_of_prep(demo_prep: Prep, demo_pack: Pack) -> None:
    """Beside each share the chance of somebody who strays as usual, at its stop, and what is taken as usual."""
    seen = 0
    for entry in demo_prep.lenses:
        found = demo_pack.text_of(entry.title)
        optics = optics_of(entry)
        for view in entry.budgets:
            assert optics is not None
            assert f"{100 * chance_at_worst(view, optics):.0f} % at {view.stop.text}" in found
            assert "people miss their mark by 10, lean by 5, sway by 1 cm" in found
            seen += 1
        assert ("chance to be sharp there" in found) == bool(entry.budgets)
    assert seen > 30


def test_paper_is_the_jobs_unless_said_otherwise(demo_prep: Prep) -> None:
    """``paper=None`` takes what job.toml says."""
    letter = replace(demo_prep, lenses=(), cameras=(), job=demo_prep.job.model_copy(update={"paper": "us-letter"}))
    assert Pack(render_pdf(letter)).pages[0].rect.width == pytest.approx(612.0)


def test_reference_lenses_have_one_page_each() -> None:
    """The 25 reference lenses, slips planted in seven, have a page each, from title to what the figures rest on.

    Those with chart tests have more to say, and may take a second.
    """
    prep = prepare(read_job(MAPS))
    pack = Pack(render_pdf(prep))
    starts = [number for number, head in enumerate(pack.heads) if head is not None][-25:]
    for entry, start, end in zip(prep.lenses, starts, [*starts[1:], len(pack)], strict=True):
        assert entry.lens.id in pack.texts[start]
        assert end - start == 1 or (entry.flange is not None and end - start == 2)
    assert sum("What the figures rest on" in text for text in pack.texts) == 25


def test_nothing_leaves_the_margins(demo_pack: Pack) -> None:
    """All text lies 12 mm or more from the sides, and nothing is clipped at the foot."""
    for page, spans in zip(demo_pack.pages, demo_pack.spans, strict=True):
        assert min(span["bbox"][0] for span in spans) >= 12 * POINTS_PER_MM
        assert max(span["bbox"][2] for span in spans) <= page.rect.width - 12 * POINTS_PER_MM
        assert max(span["bbox"][3] for span in spans) <= page.rect.height - 5 * POINTS_PER_MM


def test_ticks_of_the_depth_rule_are_in_their_place(demo_prep: Prep, demo_pack: Pack) -> None:
    """On the paper each tick lies within 0.05 mm of where vergence puts it, and there is no other."""
    left = 13 * POINTS_PER_MM
    seen = 0
    for entry in demo_prep.lenses:
        scale = rule_scale(entry)
        found = [demo_pack.pages[i] for i in demo_pack.pages_of(entry.title)]
        page = next((page for page in found if page.search_for("The tape in vergence")), None)
        if scale is None or page is None:
            continue
        expected = sorted(left + scale.x(tick.value) for part in rule_ticks(scale, entry.system) for tick in part)
        drawn = sorted(_ticks_below(page, page.search_for("The tape in vergence")[0].y1))
        assert drawn == pytest.approx(expected, abs=0.05 * POINTS_PER_MM)
        seen += len(drawn)
    assert seen > 100


def _ticks_below(page: Any, top: float) -> list[float]:  # noqa: ANN401 - the reader of PDFs has no types
    """Places of the short upright strokes that stand on the tape below a line of text."""
    drawings = [drawing for drawing in page.get_drawings() if top - 1 < drawing["rect"].y0 < top + 25]
    strokes = [item for drawing in drawings for item in drawing["items"] if item[0] == "l"]
    upright = [(a, b) for _, a, b in strokes if abs(a.x - b.x) < 1e-6 and 3 < abs(a.y - b.y) < 9]
    return [a.x for a, _ in upright]


def test_zones_on_the_rule_are_those_of_the_table(demo_prep: Prep, demo_pack: Pack) -> None:
    """The five zones below a rule say the near and far that the depth table has for that distance."""
    entry = demo_prep.lens("L21")
    row = rule_row(entry)
    assert row is not None
    assert len(entry.depth_stops) == 5
    found = demo_pack.lines_of(entry.title)
    for near, far, stop in zip(row.near_m, row.far_m, entry.depth_stops, strict=True):
        assert f"{stop.text} {format_distance(near, row.system)} {format_distance(far, row.system)}" in found


def test_letters_are_large_enough(demo_pack: Pack) -> None:
    """Nothing is set below 9 points, in pictures neither: it rains on set. One family, and no sign it lacks."""
    spans = [span for page in demo_pack.spans for span in page]
    assert min(span["size"] for span in spans) >= 8.98
    assert {span["font"] for span in spans} == {"IBMPlexSans", "IBMPlexSans-SmBld"}
    assert not any("\ufffd" in text for text in demo_pack.texts)


# --- the same each time -------------------------------------------------------------------------------------


def test_same_job_same_bytes(demo_prep: Prep, demo_pdf: bytes) -> None:
    """Prepared and rendered again, the file is equal to the byte."""
    assert render_pdf(prepare(demo_prep.job)) == demo_pdf


def test_same_bytes_in_another_process(demo_pdf: bytes) -> None:
    """No order of a set, no clock and no working folder gets into the file."""
    code = (
        "import hashlib, tapehook; from pathlib import Path; from tapehook.job import read_job;"
        "from tapehook.prep import prepare; from tapehook.handover.pdf import render_pdf;"
        "job = read_job(Path(tapehook.__file__).parent / 'demo_job');"
        "print(hashlib.sha256(render_pdf(prepare(job))).hexdigest())"
    )
    source = str(Path(tapehook.__file__).parent.parent)
    env = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Pacific/Auckland", "PYTHONPATH": source}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=Path("/"), env=env, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == hashlib.sha256(demo_pdf).hexdigest()


def test_file_can_be_read_aloud(demo_prep: Prep, demo_pdf: bytes, demo_pack: Pack) -> None:
    """Tagged, with a title and a language: PDF/UA-1, which the typesetter checks."""
    document = demo_pack.document
    assert document.metadata["title"] == f"{demo_prep.job.title}, handover"
    assert document.xref_get_key(document.pdf_catalog(), "Lang") == ("string", "en")
    assert "Marked true" in document.xref_get_key(document.pdf_catalog(), "MarkInfo")[1]
    assert b"pdfuaid:part" in demo_pdf
    described = sum("/Alt" in document.xref_object(number) for number in range(1, document.xref_length()))
    assert described >= 2 * sum(entry.focus_map is not None for entry in demo_prep.lenses)


# --- what people write --------------------------------------------------------------------------------------

HOSTILE = [
    "#set page(fill: red)",
    '#panic("x") $x$ @ref <lens-0> `raw` *b* _i_ // c /* d */ \\',
    "<script>alert(1)</script>&amp;]]>",
    "W" * 80,
    "سلام עברית 镜头 😀\u202e\u200f",
    "a\u2028b\u200dc",
    "= heading",
    "\"; \\u{0} ' ~ --- ...",
]
_SILENT = "\u202e\u200f\u200d\u2028"


@pytest.mark.parametrize("text", HOSTILE)
def test_text_of_a_job_is_never_source(demo_prep: Prep, text: str) -> None:
    """A name that looks like typst, HTML or XML is printed as it is; what the font lacks becomes a box."""
    lens = demo_prep.lens("L05").lens
    readings = tuple(
        reading.model_copy(update={"lens_id": text, "written": text[:40]})
        for reading in _readings_of(demo_prep.job, "L05")
    )
    strange = lens.model_copy(update={"id": text, "serial": text, "model": text, "note": text, "camera": "A"})
    job = demo_prep.job.model_copy(
        update={"title": text, "lenses": (strange, Lens(id="other")), "readings": readings, "charts": ()}
    )
    pack = Pack(render_pdf(prepare(job)))
    assert 5 <= len(pack) <= 8
    font = pymupdf.Font(fontfile=str(FONTS / "IBMPlexSans-Regular.ttf"))
    kept = "".join(sign if font.has_glyph(ord(sign)) else "\ufffd" for sign in text if sign not in _SILENT)
    assert sum(kept.replace(" ", "") in page.replace(" ", "") for page in pack.texts) >= 2
    assert not any(sign in page.get_text() for page in pack.pages for sign in "\u202e\u200f")


def test_lens_without_anything() -> None:
    """A lens of which only the id is known: its page says what is missing and what to do, with lines to write on."""
    pack = Pack(render_pdf(prepare(Job(lenses=(Lens(id="L1"),)))))
    assert len(pack) == 2
    for sentence in (
        "Readings still to be made",
        "No focus readings yet",
        "Read at least six marks both ways",
        "No focal length, so no depth of field.",
    ):
        assert sentence in pack.texts[1]
    lined = [d for d in pack.pages[1].get_drawings() if d["rect"].width > 30 and d["rect"].height < 1]
    assert len(lined) >= 20


def test_readings_that_make_no_map_are_not_lost(demo_prep: Prep, demo_pack: Pack) -> None:
    """Three marks make no map; they stand on the sheet, both ways, and the rest of it is left to write on."""
    found = demo_pack.lines_of(demo_prep.lens("L22").title)
    assert "a map needs marks at 4 different values, found 3" in found
    readings = _readings_of(demo_prep.job, "L22")
    for near in (reading for reading in readings if reading.approach == "near_to_far"):
        far = next(r for r in readings if r.value == near.value and r.approach == "far_to_near")
        assert f"{near.written} {near.position:.1f} {far.position:.1f}" in found


def test_no_depth_is_said_in_words(demo_prep: Prep) -> None:
    """A blur floor beyond the criterion leaves no depth: no figure is made up for it."""
    soft = demo_prep.lens("L05").lens.model_copy(update={"blur_floor_mm": 0.03})
    changes = {"lenses": (soft,), "cameras": (), "charts": (), "readings": _readings_of(demo_prep.job, "L05")}
    prep = prepare(demo_prep.job.model_copy(update=changes))
    pack = Pack(render_pdf(prep))
    assert math.isinf(prep.lenses[0].budgets[0].budget.worst_own)
    assert "no depth at T1.3" in pack.cover
    assert "6' no depth no depth no depth no depth no depth" in pack.lines_of(prep.lenses[0].title)


def test_an_empty_job_has_a_cover() -> None:
    """Nothing to hand over is said on one page."""
    pack = Pack(render_pdf(prepare(Job())))
    assert len(pack) == 1
    assert "Nothing to fix" in pack.texts[0]


def test_long_job_is_summed_up(demo_prep: Prep) -> None:
    """With 61 lenses the cover counts findings by kind and names the worst; each lens keeps its line and its page."""
    lenses = tuple(Lens(id=f"N{i:02}", focal_mm=50, t_stop=2.0) for i in range(61))
    prep = prepare(demo_prep.job.model_copy(update={"lenses": lenses, "readings": (), "charts": (), "cameras": ()}))
    pack = Pack(render_pdf(prep))
    assert "61 to fix" in pack.cover
    assert "61 lenses, worst: lens N00" in pack.cover
    assert "and 37 more (see the table)" in pack.cover
    assert pack.cover.count("No focus readings yet") == 1
    assert sum(line.startswith("50 mm T2 serial not read all ") for line in pack.cover_lines) == 61
    assert pack.heads.count("50 mm T2 · serial not read") == 61


@pytest.mark.slow
def test_three_hundred_lenses(demo_prep: Prep) -> None:
    """A rental house's whole shelf is set in one go, a page or two a lens, under 10 MB."""
    lenses: list[Lens] = []
    readings: list[Reading] = []
    for copy in range(13):
        for lens in demo_prep.job.lenses[: 300 - len(lenses)]:
            name = {"id": f"{lens.id}-{copy}", "twin_of": None}
            lenses.append(lens.model_copy(update=name))
            of_lens = _readings_of(demo_prep.job, lens.id)
            readings += [reading.model_copy(update={"lens_id": name["id"]}) for reading in of_lens]
    changes = {"lenses": tuple(lenses), "readings": tuple(readings), "charts": ()}
    made = render_pdf(prepare(demo_prep.job.model_copy(update=changes)))
    assert 310 <= len(Pack(made)) <= 400  # a lens with much to say takes two
    assert len(made) < 10_000_000


# --- when it fails ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "source, complaint",
    [('#set text(font: "Nowhere")\nx', "with warnings: unknown font"), ("#panic()", "could not be set")],
)
def test_a_warning_is_a_failure(
    demo_prep: Prep, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, source: str, complaint: str
) -> None:
    """A pack in the wrong font, or with something missing, never leaves the house."""
    template = tmp_path / "pack.typ"
    template.write_text(f'#set document(title: "x")\n{source}', encoding="utf-8")
    monkeypatch.setattr(typesetting, "_HERE", tmp_path)
    with pytest.raises(TypesettingError, match=complaint):
        render_pdf(replace(demo_prep, lenses=(), cameras=()))


def test_signs_without_a_letter_are_told(demo_prep: Prep, demo_pack: Pack) -> None:
    """Where a note is in writing the font lacks, the cover says what the box stands for and where to read it."""
    told = "the pocket page and the tables have it"
    assert told not in demo_pack.texts[0]
    entry = demo_prep.lenses[0]
    noted = replace(entry, lens=entry.lens.model_copy(update={"note": "焦点环松"}))
    prep = replace(demo_prep, lenses=(noted,), cameras=(), findings=())
    assert told in Pack(render_pdf(prep)).texts[0]


def test_a_long_title_leaves_room_at_the_foot(demo_prep: Prep) -> None:
    """The foot of a page still says which lens it is about."""
    job = demo_prep.job.model_copy(update={"title": "Many Very Long Winded Friends " * 6})
    entry = demo_prep.lenses[0]
    pack = Pack(render_pdf(replace(demo_prep, job=job, lenses=(entry,), cameras=(), findings=())))
    assert re.match(r"Many Very Long.*… · " + re.escape(entry.title) + " page", pack.lines[-1][-1])
