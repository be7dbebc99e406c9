"""The full handover: its parts and their pages, one page for the day player, the QR code, and names that mean harm."""

import re
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pymupdf
import pytest
import zxingcpp

from tapehook.handover.files import render_full_handover
from tapehook.handover.pack import MOST_DAY_LENSES, PackWish, pack_strips, render_pack
from tapehook.handover.pdf import render_pdf
from tapehook.handover.pdf_data import LONG_JOB
from tapehook.handover.typesetting import Paper
from tapehook.job import Camera, Motor, Radio
from tapehook.prep import Prep, prepare
from tests.handover.pack_reading import Pack, plain
from tests.prep.jobs import a_lens, read_off
from tests.simulator.lenses import draw_lens
from tests.simulator.paper import a_job, engraved_distances, lens_record, read_marks

URL = "https://prep.example/pocket/ninety-herons?job=7"
WISH = PackWish(diameter_mm=80.0, url=URL)
HOSTILE = "<b>&amp;\"'#panic()[x] =1+1 $x$ \u202eabc \U0001f600 שלום *_` \\u{41}"


def _pack(prep: Prep, wish: PackWish = WISH) -> Pack:
    return Pack(render_pack(prep, wish, pack_strips(prep, wish)))


@pytest.fixture(scope="module")
def pack(demo_prep: Prep) -> Pack:
    """The full handover of the demo job on A4."""
    return _pack(demo_prep)


@pytest.fixture(scope="module")
def small_prep() -> Prep:
    """Two lenses and a camera."""
    readings = [*read_off(), *read_off(lens_id="L2", seed=2)]
    return prepare(a_job([a_lens(), a_lens("L2", serial="4712")], readings, cameras=[Camera(letter="A")]))


def _page_of(pack: Pack, heading: str) -> int:
    return next(int(page) for _, title, page in pack.document.get_toc() if title == heading)


def test_contents_name_the_page_of_each_part(pack: Pack, demo_prep: Prep) -> None:
    """Each part and each lens stands on the page the contents name, and is a bookmark."""
    contents = plain(pack.texts[_page_of(pack, "Contents") - 1]).replace(" .", "")
    for part in ("For the day player", "For the lens technician", "Strips", "Twins and borrowed maps"):
        assert f"{part} {_page_of(pack, part)}" in contents
    for entry in demo_prep.lenses:
        assert f"{entry.title} {_page_of(pack, entry.title)}" in contents


def test_pages_are_numbered(pack: Pack) -> None:
    """Page 3 of 38 says so, and so do all."""
    for number, text in enumerate(pack.texts, start=1):
        assert f"page {number} of {len(pack)}" in text


def test_it_is_tagged_for_reading_aloud(pack: Pack) -> None:
    """The file says it keeps to PDF/UA-1, has a language, a title to show, and asks to be printed unscaled."""
    document = pack.document
    catalogue = document.pdf_catalog()
    assert "<pdfuaid:part>1</pdfuaid:part>" in document.get_xml_metadata()
    assert document.xref_get_key(catalogue, "Lang")[1] == "en"
    assert "true" in document.xref_get_key(catalogue, "MarkInfo")[1]
    wish = document.xref_get_key(catalogue, "ViewerPreferences")[1].replace(" ", "")
    assert "/PrintScaling/None" in wish
    assert "/DisplayDocTitletrue" in wish
    assert not document.is_repaired


@pytest.mark.parametrize("paper, many", [("a4", MOST_DAY_LENSES), ("us-letter", 40)])
def test_the_day_player_has_one_page(demo_prep: Prep, paper: Paper, many: int) -> None:
    """However many lenses, cameras and findings there are: one page, what cannot stand on it counted."""
    entries = (*demo_prep.lenses, *demo_prep.lenses)[:many]
    prep = replace(demo_prep, lenses=entries)
    wish = replace(WISH, paper=paper)
    found = _pack(prep, wish)
    assert _page_of(found, "Prep checklist") - _page_of(found, "For the day player") == 1
    text = found.texts[_page_of(found, "For the day player") - 1]
    assert "Know before you pull" in text
    assert "Where the marks are kept" in text
    assert ("more lenses, worst first" in text) == (many > MOST_DAY_LENSES)


def test_the_qr_code_leads_to_the_pocket_page(pack: Pack, small_prep: Prep) -> None:
    """A reader that is not ours reads the address off the printed page; without an address there is no code."""
    page = pack.document[_page_of(pack, "For the day player") - 1]
    pixels = page.get_pixmap(dpi=200, colorspace=pymupdf.csGRAY)
    read = zxingcpp.read_barcodes(memoryview(pixels.samples).cast("B", (pixels.height, pixels.width)))
    assert [code.text for code in read] == [URL]
    without = _pack(small_prep, replace(WISH, url=None))
    assert "pocket page" not in without.texts[_page_of(without, "For the day player") - 1].replace("pocket page on", "")


def test_strips_of_lenses_whose_ring_is_known() -> None:
    """A lens with its ring's diameter has its strip; one without is named with what to give, and none is guessed."""
    lenses = [a_lens("K", ring_diameter_mm=95.0), a_lens("U", serial="4712")]
    readings = [*read_off(lens_id="K"), *read_off(lens_id="U")]
    prep = prepare(a_job(lenses, readings))
    strips = pack_strips(prep, PackWish())
    assert [one.lens_id for one in strips.made] == ["K"]
    assert [one.lens_id for one in strips.in_proportion] == ["U"]
    found = _pack(prep, PackWish())
    text = found.texts[_page_of(found, "Strips") - 1]
    assert "Ring 95 mm across" in text
    assert "In proportion only" in text
    assert "not at 1:1" in text
    assert "Ring 80 mm across" not in text
    assert "serial 4712: the diameter of its focus ring is not given" in text
    assert "ø 95 mm" in found.text_of(prep.lens("K").title)


def test_motors_and_radios_stand_on_the_page_of_their_camera() -> None:
    """By what they drive, with their lag; radios by name."""
    job = a_job([a_lens()], read_off(), cameras=[Camera(letter="A"), Camera(letter="B")]).model_copy(
        update={
            "motors": (Motor(id="M2", camera="A", axis="iris"), Motor(id="M1", camera="A", lag_ms=21.0)),
            "radios": (Radio(id="hand unit", camera="B"),),
        }
    )
    found = _pack(prepare(job))
    text = found.text_of("Camera A")
    assert "M1 focus 21 ms M2 iris not known" in text
    assert "No radio is listed." in text
    assert "hand unit; no channel is planned yet" in found.text_of("Camera B")


def test_what_prep_writes_is_left_as_it_is(demo_pack: Pack) -> None:
    """The shorter PDF of ``tapehook prep`` has none of the further parts."""
    text = " ".join(demo_pack.texts)
    assert "For the day player" not in text
    assert "Strips" not in text


def test_equal_input_gives_equal_bytes(small_prep: Prep) -> None:
    """Every file of it, the workbook too."""
    one, _ = render_full_handover(small_prep, WISH)
    two, _ = render_full_handover(small_prep, WISH)
    assert one.keys() == two.keys()
    assert [name for name in one if one[name] != two[name]] == []


@pytest.mark.parametrize("name", [HOSTILE, "x" * 80, "W" * 80, "\u05d0" * 40, "=cmd|'/c calc'!A0"])
@pytest.mark.parametrize("length", [str, lambda text: (text + " ") * 4], ids=["as it is", "longer"])
def test_hostile_names_are_printed_as_text(name: str, length: Callable[[str], str]) -> None:
    """Markup, template code, formulas, long names, writing from right to left, emoji: text on whole pages."""
    title = length(name).strip()[:200]
    lens = a_lens(name[:80], serial=title, model=title, note=title, ring_diameter_mm=80.0, camera="A")
    job = a_job([lens], read_off(lens_id=name[:80]), cameras=[Camera(letter="A", name=title)], title=title).model_copy(
        update={"motors": (Motor(id=name[:80], camera="A"),), "radios": (Radio(id=name[:80], camera="A"),)}
    )
    found = _pack(prepare(job), replace(WISH, diameter_mm=None))
    assert _page_of(found, "Prep checklist") - _page_of(found, "For the day player") == 1
    text = "".join(found.texts).replace(" ", "")
    if name is HOSTILE:
        assert "<b>&amp;\"'#panic()[x]=1+1$x$" in text


def test_a_job_with_nothing_in_it() -> None:
    """No lens, no camera: a pack all the same, with its sheets to write on."""
    found = _pack(prepare(a_job([], [])), PackWish())
    text = " ".join(found.texts)
    assert "Nothing to fix and nothing to watch." in text
    assert "No camera is named in the job." in text


def test_wide_figures_do_not_push_the_day_player_off_the_page() -> None:
    """Forty simulated lenses, long ones over a thousand per cent of the depth, in counts: still one page on Letter."""
    rng = np.random.default_rng(3)
    lenses = {f"S{i:02d}": draw_lens(rng, low_mm=85, unit="count", units_per_turn=65536.0, step=1.0) for i in range(40)}
    readings = [
        reading
        for lens_id, lens in lenses.items()
        for reading in read_marks(rng, lens, lens_id, engraved_distances(rng, lens, 6))
    ]
    job = a_job([lens_record(lens, lens_id) for lens_id, lens in lenses.items()], readings, shooting_stop="T2.8")
    found = _pack(prepare(job), PackWish("us-letter", url=URL))
    assert _page_of(found, "Prep checklist") - _page_of(found, "For the day player") == 1


@pytest.mark.slow
def test_a_long_job_stays_quick() -> None:
    """300 lenses with their strips: a pack of more than 300 pages whose contents fit a few."""
    lenses = [a_lens(f"N{i:03d}", serial=str(i), ring_diameter_mm=80.0) for i in range(300)]
    readings = [reading for lens in lenses for reading in read_off(lens_id=lens.id)]
    prep = prepare(a_job(lenses, readings))
    assert len(prep.lenses) > LONG_JOB
    # The work itself, whatever else the machine does meanwhile.
    started = time.process_time()
    made = render_pack(prep, WISH, pack_strips(prep, WISH))
    assert time.process_time() - started < 20.0
    # Tags and all it may still be sent: untagged it is 5 MB, tagged and not packed together 22 MB.
    assert len(made) < 10_000_000
    found = Pack(made)
    assert found.document.xref_get_key(found.document.pdf_catalog(), "StructTreeRoot")[0] == "xref"
    assert _page_of(found, "For the day player") - _page_of(found, "Contents") <= 4
    assert _page_of(found, prep.lenses[-1].title) > 300


def test_the_cover_names_what_is_not_tested(pack: Pack) -> None:
    """Whoever takes over reads on the cover which tests were not made, and on which lenses."""
    cover = plain(" ".join(pack.texts[: _page_of(pack, "Contents") - 1]))
    assert "Not tested" in cover
    assert "Focus not mapped: L21, L22." in cover
    assert "Read one way only: L06." in cover


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_camera_has_one_page(demo_prep: Prep, paper: Paper) -> None:
    """Kit, lenses and worst findings of a camera stand on one page, which lines to write on never make two of."""
    found = _pack(demo_prep, replace(WISH, paper=paper))
    titles = [page for level, title, page in found.document.get_toc() if level == 1 and title.startswith("Camera ")]
    assert titles == list(range(titles[0], titles[0] + len(demo_prep.cameras)))
    for page in titles:
        assert "Motors and radio" in found.texts[page - 1]


def test_findings_of_a_camera_end_with_its_page(demo_prep: Prep) -> None:
    """Wherever the list of its lenses ends on a page: findings stand above the foot, and those left out are counted."""
    camera, entry = demo_prep.cameras[0], demo_prep.lens("L20")
    for many in range(44, 51):
        cameras = (replace(camera, lens_ids=("L20",) * many),)
        prep = replace(demo_prep, lenses=(entry,), cameras=cameras, findings=())
        found = Pack(render_pdf(prep, paper="us-letter"))
        start = found.heads.index("Camera A · A body, large sensor")
        end = next(
            page for page in range(start, len(found)) if re.search(r"And \d+ more, on the pages", found.texts[page])
        )
        assert end - start < 3
        for page in range(start, end + 1):
            foot = max(span["bbox"][3] for span in found.spans[page])
            words = [span for span in found.spans[page] if span["bbox"][1] < foot - 14]
            assert max(span["bbox"][3] for span in words) < foot - 12, (many, page)


def test_a_provisional_serial_stays_on_its_line(pack: Pack) -> None:
    """The day player's rows are of one height: "serial not read" neither wraps nor is cut."""
    page = _page_of(pack, "For the day player") - 1
    assert any("serial not read" in line for line in pack.lines[page])


def test_a_lens_names_the_page_of_its_strip(pack: Pack, demo_prep: Prep) -> None:
    """From the page of a lens to the strip to cut out: the page it names has the strip's heading."""
    named = 0
    for entry in demo_prep.lenses:
        found = re.search(r"ø [\d.]+ mm, page (\d+)", pack.texts[_page_of(pack, entry.title) - 1])
        if found:
            assert f"{entry.title} · focus" in pack.texts[int(found[1]) - 1]
            named += 1
    assert named == len(pack_strips(demo_prep, WISH).made)
