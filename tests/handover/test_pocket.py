"""The pocket page as a file: nothing outside it, nothing in it that a name could break, readable without scripts."""

import base64
import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterator
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tapehook.finding import SIGN
from tapehook.handover.files import render_full_handover
from tapehook.handover.pack import PackWish
from tapehook.handover.pocket import GRID_POINTS, limit_texts, render_pocket
from tapehook.handover.pocket_lens import compact
from tapehook.job import read_job
from tapehook.job.records import Criterion, Job, System
from tapehook.notation import format_position
from tapehook.picture.lettering import text_width
from tapehook.picture.svg import escape
from tapehook.prep import Prep, prepare
from tapehook.prep.room import SMALLEST_T
from tapehook.prep.strips import StripWish, lens_strip
from tapehook.strip import Ring
from tests.browser.pocket_jobs import HOSTILE, TURNING, lens, one_lens, readings

WEB = Path(str(files("tapehook") / "handover" / "web"))
DEMO = Path(str(files("tapehook") / "demo_job"))
VOID = {"meta", "link", "input", "br", "rect", "path", "line"}


class Page(HTMLParser):
    """The elements of a page with their attributes, and the text inside script and style."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inside: list[str] = []
        self.raw: dict[str, str] = {}
        self.words: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.inside.append(tag if tag != "script" else f"script {dict(attrs)['type']}")

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.inside.pop().split(" ")[0] == tag

    def handle_data(self, data: str) -> None:
        place = self.inside[-1] if self.inside else ""
        if place == "style" or place.startswith("script"):
            self.raw[place] = self.raw.get(place, "") + data
        else:
            self.words.append(data)

    @property
    def data(self) -> dict[str, Any]:
        """What the scripts work on."""
        found: dict[str, Any] = json.loads(self.raw["script application/json"])
        return found

    @property
    def text(self) -> str:
        """All that can be read, with single spaces."""
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def prep() -> Prep:
    """The demo job, prepared."""
    return prepare(read_job(DEMO))


@pytest.fixture(scope="module")
def html(prep: Prep) -> str:
    """Its pocket page."""
    return render_pocket(prep)


def test_equal_jobs_give_equal_pages(prep: Prep, html: str) -> None:
    """The page depends on the job alone, to the last sign."""
    assert render_pocket(prepare(read_job(DEMO))) == html == render_pocket(prep)


def test_page_stays_small(prep: Prep, html: str) -> None:
    """24 lenses fit into 700 kB, fonts and all: a page is sent from phone to phone."""
    assert len(prep.lenses) == 24
    assert 200_000 < len(html.encode()) < 700_000
    script = html[html.rindex("<script") :]
    assert not [line for line in script.splitlines() if line.lstrip().startswith(("//", "/*", "* "))]


def test_page_names_nothing_outside_itself(html: str) -> None:
    """No element and no style refers to anything but data inside the page."""
    page = Page(html)
    addresses = [
        value
        for _, attributes in page.elements
        for name, value in attributes.items()
        if name
        in {"src", "href", "srcset", "data", "action", "poster", "background", "ping", "formaction", "xlink:href"}
    ]
    assert addresses == ["data:,"]
    assert {url[:10] for url in re.findall(r"url\(\"?([^)]*)\)", page.raw["style"])} == {"data:font/"}
    assert "@import" not in page.raw["style"]


def test_policy_allows_this_style_and_this_script_alone(html: str) -> None:
    """The policy in the page starts from nothing and names both inline parts by their true digests."""
    page = Page(html)
    policy = next(a["content"] for _, a in page.elements if a.get("http-equiv") == "Content-Security-Policy") or ""
    rules = dict(rule.split(" ", 1) for rule in policy.split("; "))

    def digest(text: str) -> str:
        return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"

    assert rules == {
        "default-src": "'none'",
        "style-src": digest(page.raw["style"]),
        "script-src": digest(page.raw["script module"]),
        "font-src": "data:",
        "img-src": "data:",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    assert html.index("Content-Security-Policy") < html.index("<style") < html.index("<script")
    assert not [
        name for _, attributes in page.elements for name in attributes if name.startswith("on") or name == "style"
    ]


@pytest.mark.parametrize("name", HOSTILE)
def test_names_stay_text(name: str) -> None:
    """Whatever a lens or job is called, the page has the same elements as with a plain name, and says the name."""
    plain = Page(render_pocket(one_lens(serial="S", model="M", note="N", twin_of="W")))
    page = Page(render_pocket(one_lens(title=name, serial=name, model=name, note=name, twin_of=name)))
    shown = " ".join("".join(sign if sign.isprintable() else " " for sign in name).split())

    assert Counter(tag for tag, _ in page.elements) == Counter(tag for tag, _ in plain.elements)
    assert page.text.count(shown) >= 4
    assert page.data["lenses"][0]["serial"] == name
    assert page.data["title"] == name


def test_data_cannot_end_their_element() -> None:
    """In the script element that holds the data no sign stands that HTML or an old script engine could stumble on."""
    block = render_pocket(one_lens(title="".join(HOSTILE))).partition('id="job">')[2].partition("</script>")[0]
    assert not set("<>&\u2028\u2029") & set(block)
    assert json.loads(block)["title"] == "".join(HOSTILE)


def test_half_a_sign_does_not_stop_the_page() -> None:
    """A lone surrogate, which no file can hold, is shown as a question mark."""
    html = render_pocket(one_lens(model="half \ud83c"))
    assert "half ?" in html or "half  " in html
    html.encode("utf-8")


def test_every_round_distance_reads_without_scripts(prep: Prep, html: str) -> None:
    """Each lens has a fold-out whose tables give what prep found: positions with their +-, finding for finding."""
    sheets = html.split('<details class="sheet"')[1:]
    assert len(sheets) == len(prep.lenses)
    for entry, sheet in zip(prep.lenses, sheets, strict=True):
        said = Page(f"<details{sheet.partition('</details>')[0]}</details>").text
        assert entry.title in said
        for row in entry.rounds:
            position = format_position(row.position, entry.lens.unit, step=entry.lens.reading_step)
            assert f"{row.text} {position} " in said
        for finding in entry.findings:
            assert f"{SIGN[finding.severity]} {finding.severity} {finding.message} {finding.next_step}" in said
        for depth in entry.depth_rows:
            pairs = zip(depth.near_m, depth.far_m, strict=True)
            limits = [text for near, far in pairs for text in limit_texts(near, far, depth.system)]
            assert " ".join([depth.text, *limits]) in said


def test_budget_is_shown_as_prep_worked_it_out(prep: Prep, html: str) -> None:
    """Depth used stands beside its stop, at the distance where it is worst, for both stops; nothing is recomputed."""
    text = Page(html).text
    views = [view for entry in prep.lenses for view in entry.budgets]
    assert {view.role for view in views} == {"widest", "shooting"}
    for view in views:
        own = view.budget.worst_own
        used = f"{own * 100:.0f} %" if own < 10 else "over 1000 %"
        assert f"Focus budget at {view.stop.text} depth used {used} at {view.stop.text} by the lens itself" in text


def test_one_budget_where_both_stops_are_the_same() -> None:
    """A lens that shoots wide open has one budget, not the same one twice."""
    assert Page(render_pocket(one_lens(stop="T1.5"))).text.count("Focus budget at T1.5") == 1
    assert Page(render_pocket(one_lens(stop="T2.8"))).text.count("Focus budget at T") == 2


@pytest.mark.parametrize(
    "near_m, far_m, system, texts",
    [
        (2.0, 2.3, "metric", ("2 m", "2.3 m")),
        (1.9934, 2.0067, "metric", ("1.993 m", "2.007 m")),
        (1.9, np.inf, "metric", ("1.9 m", "∞")),
        (66.13 * 0.0254, 67.37 * 0.0254, "imperial", ("5'6⅛\"", "5'7⅜\"")),
        (65.95 * 0.0254, 72.0 * 0.0254, "imperial", ("5'6\"", "6'")),
        (71.99 * 0.0254, 72.26 * 0.0254, "imperial", ("6'", "6'0¼\"")),
        (12.0, 12.01, "metric", ("12 m", "12 m")),
        (np.nan, np.nan, "metric", ("no focus", "no focus")),
    ],
)
def test_shallow_depth_is_not_rounded_away(near_m: float, far_m: float, system: System, texts: tuple[str, str]) -> None:
    """Near and far are in house style, but to the millimetre or eighth of an inch where they lie close together."""
    assert limit_texts(near_m, far_m, system) == texts


def test_missing_serial_and_unknowns_are_said() -> None:
    """What nobody wrote down is said in words, and assumptions are named as such."""
    text = Page(render_pocket(one_lens(serial=None))).text
    for words in (
        "serial not read",
        "85 % (assumed)",
        "not known (thin lens assumed)",
        "Transmission not measured",
        "no shooting stop set",
    ):
        assert words in text


def test_lens_without_readings_says_so() -> None:
    """No map: the sentence stands where the positions would, and the data carry no grid."""
    page = Page(render_pocket(one_lens(marks=[])))
    given = page.data["lenses"][0]
    assert (given["map"], given["noMap"]) == (None, "No focus map: no readings.")
    assert page.text.count("No focus map: no readings.") == 1


def test_map_that_turns_back_gives_no_position() -> None:
    """A map that is not monotone has no grid in the page: a figure from it could only mislead."""
    prep = one_lens(marks=TURNING)
    lens_map = prep.lenses[0].focus_map
    assert lens_map is not None
    assert not lens_map.monotone
    page = Page(render_pocket(prep))
    assert page.data["lenses"][0]["map"] is None
    assert "The map turns back on itself" in page.text


def test_lens_without_focal_length_has_no_depth() -> None:
    """Without a focal length there is a ring position and no depth, and the page says why."""
    page = Page(render_pocket(one_lens(focal_mm=None)))
    given = page.data["lenses"][0]
    assert given["optics"] is None
    assert given["map"] is not None
    assert "No focal length, so no depth of field." in page.text


def test_lens_read_one_way_says_so() -> None:
    """The centre of the play is not known, and that stands beside the positions."""
    job = Job(lenses=(lens(),), readings=readings("L1", both_ways=False))
    page = Page(render_pocket(prepare(job)))
    assert page.data["lenses"][0]["oneWay"] == "Read from far to near only."
    assert "Read from far to near only." in page.text


def test_blur_floor_above_what_passes_leaves_no_depth() -> None:
    """An infinite share is a word, not a figure."""
    prep = one_lens(blur_floor_mm=0.05)
    assert prep.lenses[0].budgets[0].budget.worst_own == np.inf
    assert "depth used no depth at T1.5" in Page(render_pocket(prep)).text


def test_data_are_what_prep_holds(prep: Prep, html: str) -> None:
    """Optics, stops and maps travel unchanged: maps on a grid of 201 points or more, positions to seven digits."""
    assert GRID_POINTS >= 201
    data = Page(html).data
    for entry, given in zip(prep.lenses, data["lenses"], strict=True):
        optics = given["optics"]
        assert (optics["cocM"], optics["blurFloorM"]) == (entry.coc_m, entry.blur_floor_m)
        assert optics["transmission"] == (entry.transmission if entry.transmission_known else None)
        assert (optics["pupil"] is not None) == entry.pupil_known
        assert given["widest"] == (entry.widest and {"text": entry.widest.text, "t": entry.widest.t_number})
        if entry.focus_map is None or given["map"] is None:
            continue
        _, positions, plus_minus = entry.focus_map.grid(GRID_POINTS)
        assert np.allclose(given["map"]["positions"], positions, rtol=1e-6, atol=1e-6 * np.ptp(positions))
        assert np.allclose(given["map"]["plusMinus"], plus_minus, rtol=1e-2)


def test_stops_go_by_thirds_to_t22(html: str) -> None:
    """The stop slider's marks: whole stops as written, thirds exact, each a sixth root of two from the last."""
    stops = Page(html).data["stops"]
    assert [stop["text"] for stop in stops[3:9]] == ["T0.7", "T0.7 1/3", "T0.7 2/3", "T1", "T1 1/3", "T1 2/3"]
    numbers = np.array([stop["t"] for stop in stops])
    assert numbers[-1] == SMALLEST_T
    # Whole stops carry the rounding of their labels, 11 for 11.31 the coarsest: 2.9 %.
    assert np.allclose(numbers[1:] / numbers[:-1], 2 ** (1 / 6), rtol=0.03)


def test_job_without_lenses_still_makes_a_page() -> None:
    """Nothing to show is no reason to fail."""
    page = Page(render_pocket(prepare(Job(title="Empty", criterion=Criterion()))))
    assert page.data["lenses"] == []
    assert "0 lenses" in page.text


# --- the look, as far as it can be computed -----------------------------------------------------------------


def themes() -> Iterator[tuple[str, dict[str, str]]]:
    """Name and colours of each theme in the style sheet."""
    css = (WEB / "pocket.css").read_text(encoding="utf-8")
    for name, selector in (("dark", ":root {"), ("light", ':root[data-theme="light"] {')):
        block = css.partition(selector)[2].partition("}")[0]
        yield name, dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours: W3C, Web Content Accessibility Guidelines 2.2 (2023), "contrast ratio"."""

    def luminance(colour: str) -> float:
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("name, colours", list(themes()))
def test_colours_can_be_told_apart(name: str, colours: dict[str, str]) -> None:
    """Text has 4.5 to 1, lines and controls that matter 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11), in both themes."""
    assert len(colours) == 12, name
    for ink in ("ink", "quiet", "fault"):
        for ground in ("paper", "raised"):
            assert contrast(colours[ink], colours[ground]) >= 4.5, (name, ink, ground)
    for ground in ("tape", "sharp"):  # distances stand on both
        assert contrast(colours["ink"], colours[ground]) >= 4.5, (name, ground)
    for line, ground in [
        ("accent", "paper"),
        ("accent", "tape"),
        ("accent", "sharp"),
        ("frame", "paper"),
        ("tape-edge", "paper"),
        ("sharp-edge", "raised"),
        ("fault", "raised"),
    ]:
        assert contrast(colours[line], colours[ground]) >= 3, (name, line, ground)


def test_device_theme_repeats_the_light_one() -> None:
    """Without scripts the light theme comes from the device's own wish: the same colours, written twice."""
    css = (WEB / "pocket.css").read_text(encoding="utf-8")
    blocks = [
        css.partition(start)[2].partition("}")[0]
        for start in (':root[data-theme="light"] {', ":root:not([data-theme]) {")
    ]
    first, second = (re.findall(r"--[\w-]+: \S+;", block) for block in blocks)
    assert first == second


def test_scripts_never_write_markup() -> None:
    """Text goes in as text: nothing in the scripts parses markup or code, and nothing asks the network."""
    for script in sorted(WEB.glob("*.js")):
        text = script.read_text(encoding="utf-8")
        loose = re.search(
            r"innerHTML|outerHTML|insertAdjacent|document\.write|eval\(|Function\(|fetch\(|XMLHttp|import\(", text
        )
        assert loose is None, (script.name, loose)


def _sheet(html: str, index: int) -> str:
    return html.partition(f'id="sheet-{index}"')[2].partition("</details>")[0]


def test_strips_are_pictures_where_the_ring_is_known(prep: Prep, html: str) -> None:
    """A lens whose ring diameter is known has its strip with every label of the layout, also without scripts; others
    have none, as no size is guessed."""
    shown = 0
    for index, entry in enumerate(prep.lenses):
        sheet = _sheet(html, index)
        if entry.lens.ring_diameter_mm is None or entry.focus_map is None:
            assert '<div class="strip"' not in sheet
            continue
        drawn = sheet.partition('<div class="strip"')[2]
        ring = Ring.of_diameter(entry.lens.ring_diameter_mm)
        for tick in lens_strip(entry, StripWish(ring), text_width).strip.ticks:
            assert not tick.label or f">{escape(tick.label)}" in drawn or f">({escape(tick.label)})" in drawn
        shown += 1
    assert shown > 10


def test_a_stated_diameter_gives_every_other_lens_its_strip(prep: Prep) -> None:
    """The full handover's pocket page has the strips that its PDF has at 1:1."""
    rendered, strips = render_full_handover(prep, PackWish(diameter_mm=75.0))
    page = rendered["pocket.html"].decode()
    assert page.count('<div class="strip"') == len(strips.made)
    assert len(strips.made) >= 20


def test_a_strip_loses_nothing_by_being_packed() -> None:
    """Fewer signs, the same lines: tenths of a point, an upright line by its height, other lines as they were."""
    picture = '<path d="M99.21 34.02 99.21 24.94M1.00 2.00 3.00 4.00" font-family="IBM Plex Sans SmBld"/>'
    assert compact(picture) == '<path d="M99.2 34V24.9M1 2 3 4"/>'


def test_marks_read_without_scripts(prep: Prep, html: str) -> None:
    """Each mark that was read stands in its lens's table, and one left out of the map says so."""
    for index, entry in enumerate(prep.lenses):
        sheet = _sheet(html, index)
        table = sheet.partition("<h3>Marks</h3>")[2].partition("</table>")[0]
        assert table.count("<tr>") == (len(entry.marks) + 1 if entry.marks else 0)
        assert table.count(" check</th>") == sum(mark.suspect for mark in entry.marks)
