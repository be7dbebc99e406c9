"""The pocket page in people's hands: found, read, slid and typed into, at every size, in both themes."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tapehook.handover.pocket import render_pocket
from tapehook.job.records import Job
from tapehook.notation import format_distance, format_position
from tapehook.prep import Prep, prepare
from tests.browser.pocket_jobs import HOSTILE, TURNING, OpenPocket, Theme, lens, one_lens, readings, said

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
THEMES: tuple[Theme, Theme] = ("dark", "light")
SIZES = ((360, 740), (820, 1180), (1440, 900))


# --- nothing in the way -------------------------------------------------------------------------------------


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width, lens_ids", [(360, (None, "L03", "L19", "L21")), (820, ("L03",)), (1440, ("L19",))])
def test_no_barriers(
    demo: Prep, open_pocket: OpenPocket, theme: Theme, width: int, lens_ids: tuple[str | None, ...]
) -> None:
    """axe-core finds nothing to object to: in the list, at a lens with a fault, at a zoom, at one without data."""
    page = open_pocket(demo, width=width, height=900, theme=theme)
    for lens_id in lens_ids:
        if lens_id:
            page.evaluate("id => { location.hash = '#' + id }", lens_id)
            page.wait_for_function("id => tapehook.shown() === id", arg=lens_id)
        page.evaluate(AXE)
        result: dict[str, Any] = page.evaluate("axe.run()")
        faults = [(fault["id"], [node["target"] for node in fault["nodes"]]) for fault in result["violations"]]
        assert faults == [], (lens_id, json.dumps(faults, indent=1))
        assert len(result["passes"]) > 20


@pytest.mark.parametrize("width, height", [*SIZES, (320, 640), (740, 360)])
def test_no_sideways_scrolling(demo: Prep, open_pocket: OpenPocket, width: int, height: int) -> None:
    """No lens makes the page wider than the screen, and no figure runs out of its place."""
    page = open_pocket(demo, width=width, height=height)
    for entry in demo.lenses:
        page.evaluate("id => { location.hash = '#' + encodeURIComponent(id) }", entry.lens.id)
        page.wait_for_function("id => tapehook.shown() === id", arg=entry.lens.id)
        for slider in (0, 350, 999, 1000):
            page.evaluate(
                """v => { const s = document.getElementById("distance-slider"); s.value = v;
                          s.dispatchEvent(new Event("input")) }""",
                slider,
            )
            over = page.evaluate(
                """[...document.querySelectorAll("#live *:not(svg *), header *, #tables *:not(.wide *)")]
                     .filter((e) => e.offsetParent && !e.classList.contains("visually-hidden"))
                     .filter((e) => e.getBoundingClientRect().right > innerWidth + 0.5).map((e) => e.id || e.tagName)"""
            )
            assert over == [], (entry.title, slider)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, entry.title


def test_touch_targets_are_large(demo: Prep, open_pocket: OpenPocket) -> None:
    """Buttons, fields and sliders are at least 44 px high, for cold thumbs; WCAG 2.2 asks for 24 (2.5.8)."""
    page = open_pocket(demo, "L19")
    small = page.evaluate(
        """[...document.querySelectorAll("button, input")].filter((e) => e.offsetParent)
             .map((e) => [e.id, e.offsetWidth, e.offsetHeight]).filter(([, w, h]) => w < 40 || h < 40)"""
    )
    assert small == []


@pytest.mark.parametrize("scheme", THEMES)
def test_theme_follows_the_device_and_the_button(demo: Prep, open_pocket: OpenPocket, scheme: Theme) -> None:
    """The page opens in the theme the device asks for; one tap changes it, and the choice outlives a reload."""
    page = open_pocket(demo, theme=scheme)
    other = THEMES[1 - THEMES.index(scheme)]
    ground = "getComputedStyle(document.body).backgroundColor"
    before = page.evaluate(ground)
    assert page.evaluate("document.documentElement.dataset.theme") == scheme
    page.click("#theme")
    after = page.evaluate(ground)
    assert before != after
    page.reload()
    assert page.evaluate("document.documentElement.dataset.theme") == other
    assert page.evaluate(ground) == after


# --- one lens -----------------------------------------------------------------------------------------------


def test_lens_shows_what_prep_found(demo: Prep, open_pocket: OpenPocket) -> None:
    """Each lens opens with its title, its stop marked as entered, its ring position, and its own findings below."""
    page = open_pocket(demo)
    for entry in demo.lenses:
        page.evaluate("id => { location.hash = '#' + encodeURIComponent(id) }", entry.lens.id)
        page.wait_for_function("id => tapehook.shown() === id", arg=entry.lens.id)
        stop = entry.shooting or entry.widest
        assert said(page, "lens-title", "stop") == [entry.title, stop.text if stop else "T2.8"]
        assert page.inner_text("label[for=stop]") == "stop, entered"
        shown = page.locator(".sheet:visible")
        assert shown.count() == 1
        for finding in entry.findings:
            assert finding.message in shown.inner_text()
        fixes = [finding.message for finding in entry.findings if finding.severity == "fix"]
        assert page.locator("#alarm").is_visible() == bool(fixes)
        assert (fixes[0] if fixes else "") in said(page, "alarm")[0]


def test_typed_distance_gives_the_ring_position_of_the_map(demo: Prep, open_pocket: OpenPocket) -> None:
    """Typed distances stand on the ring where the map has them, with its +-; beyond the marks that is said."""
    entry = demo.lens("L05")
    assert entry.focus_map is not None
    page = open_pocket(demo, "L05")
    for text, distance_m in (
        ("7'", 7 * 0.3048),
        ("5'6\"", 1.6764),
        ("2.5 m", 2.5),
        ("168cm", 1.68),
        ("inf", float("inf")),
    ):
        page.fill("#distance", text)
        page.press("#distance", "Enter")
        position, band = entry.focus_map.position_band(distance_m)
        assert said(page, "distance", "ring", "refusal") == [
            format_distance(distance_m, entry.system),
            format_position(float(position[0]), entry.lens.unit, step=entry.lens.reading_step),
            "",
        ]
        shown = float(said(page, "ring-plus-minus")[0].removeprefix("+- ").removesuffix("°"))
        assert shown == pytest.approx(float(band[0]), rel=0.06)


@pytest.mark.parametrize(
    "text, sentence",
    [
        ("5 6", "“5 6” could mean 5'6\""),
        ("6.6", "“6.6” has decimals and no unit and could mean 6.6 ft or 6'6\""),
        ("soon", "“soon” cannot be read; expected a distance"),
        ("", "“” is empty"),
        ("1'", "1' is nearer than close focus, 2'"),
        ("0", "“0” is not more than zero"),
    ],
)
def test_refused_distance_changes_nothing(demo: Prep, open_pocket: OpenPocket, text: str, sentence: str) -> None:
    """A distance that cannot be taken is refused in words, announced, and the figures stay as they were."""
    page = open_pocket(demo, "L05")
    before = said(page, "ring", "near", "far")
    page.fill("#distance", text)
    page.press("#distance", "Enter")
    assert said(page, "refusal")[0].startswith(sentence)
    assert page.get_attribute("#refusal", "role") == "alert"
    assert page.get_attribute("#distance", "aria-invalid") == "true"
    assert said(page, "ring", "near", "far") == before
    page.press("#distance", "Escape")
    assert said(page, "refusal") == [""]
    assert page.get_attribute("#distance", "aria-invalid") is None


@pytest.mark.parametrize(
    "text, shown, refused",
    [
        ("2.8", "T2.8", ""),
        ("T4", "T4", ""),
        ("2.8 1/3", "T2.8 1/3", ""),
        ("3", "T3", ""),
        ("f/2", "T2", "“f/2” is an f-number"),
        ("1", "T2", "T1 is wider than this lens opens, T1.3"),
    ],
)
def test_typed_stop(demo: Prep, open_pocket: OpenPocket, text: str, shown: str, refused: str) -> None:
    """A stop may be typed, between the marks of the slider too; wider than the lens, or an f-number, is refused."""
    page = open_pocket(demo, "L05")
    page.fill("#stop", text)
    page.press("#stop", "Enter")
    if refused:
        assert said(page, "refusal")[0].startswith(refused)
        page.press("#stop", "Escape")
    assert said(page, "stop")[0] == shown
    assert said(page, "hyperfocal-stop")[0] == f"at {shown}"


def test_sliders_are_held_to_the_lens(demo: Prep, open_pocket: OpenPocket) -> None:
    """Distance runs from close focus to infinity, the stop from the widest to T22."""
    for lens_id in ("L01", "L05", "L16"):
        entry = demo.lens(lens_id)
        assert entry.widest is not None
        assert entry.close_focus_m is not None
        page = open_pocket(demo, lens_id)
        ends = []
        for key in ("Home", "End"):
            page.press("#distance-slider", key)
            page.press("#stop-slider", key)
            ends.append(said(page, "distance", "stop"))
        near = format_distance(entry.close_focus_m, entry.system)
        assert ends == [[near, entry.widest.text], ["∞", "T22"]]


def test_slider_goes_in_vergence_steps(demo: Prep, open_pocket: OpenPocket) -> None:
    """Halfway along the slider is halfway in vergence between close focus and infinity, on a round length."""
    page = open_pocket(demo, "L05")
    page.evaluate("""(() => { const s = document.getElementById("distance-slider"); s.value = 500;
                              s.dispatchEvent(new Event("input")) })()""")
    entry = demo.lens("L05")
    assert entry.close_focus_m is not None
    assert entry.pupil is not None
    pupil_m = float(entry.pupil.to_sensor_m)  # type: ignore[arg-type]
    halfway = pupil_m + 2 * (entry.close_focus_m - pupil_m)
    inches = page.evaluate("tapehook.parseDistance(document.getElementById('distance').value, null)") / 0.0254
    assert inches * 4 == pytest.approx(round(inches * 4))
    assert inches * 0.0254 == pytest.approx(halfway, rel=0.01)


def test_one_tap_changes_feet_and_metres(demo: Prep, open_pocket: OpenPocket) -> None:
    """One tap: every distance on the page of the lens changes its notation, and the setting stays where it is."""
    page = open_pocket(demo, "L05")
    page.fill("#distance", "7'")
    page.press("#distance", "Enter")
    ring = said(page, "ring")
    page.click("#metric")
    assert said(page, "distance") == ["2.13 m"]
    assert all(text.endswith("m") for text in said(page, "near", "far", "total", "hyperfocal"))
    assert said(page, "ring") == ring
    assert page.get_attribute("#metric", "aria-pressed") == "true"
    page.click("#imperial")
    assert said(page, "distance") == ["7'"]


def test_zoom_takes_an_entered_focal_length(demo: Prep, open_pocket: OpenPocket) -> None:
    """A zoom has a third slider, marked as entered and held to its range; the depth follows it, the ring does not."""
    page = open_pocket(demo, "L19")
    assert page.inner_text("label[for=focal]") == "focal, entered"
    assert said(page, "focal") == ["58"]
    total, ring = said(page, "total", "ring")
    page.press("#focal-slider", "Home")
    assert said(page, "focal", "ring") == ["22", ring]
    assert said(page, "total")[0] != total
    page.fill("#focal", "85")
    page.press("#focal", "Enter")
    assert said(page, "refusal") == ["“85” is outside this zoom; expected 22 to 58 mm."]
    open_again = open_pocket(demo, "L05")
    assert not open_again.locator("#focal-row").is_visible()


def test_uncertainty_and_assumptions_stand_beside_the_depth(demo: Prep, open_pocket: OpenPocket) -> None:
    """With data missing the depth carries its +- and what was assumed; with all data it says whose they are."""
    page = open_pocket(demo, "L21")
    assert "assumed: a thin lens and 85 % transmission" in said(page, "trust")[0]
    assert said(page, "trust")[0].startswith("Depth +- ")
    assert said(open_pocket(demo, "L05"), "trust") == ["Depth from the pupil data of this lens"]
    wide = open_pocket(one_lens(focal_mm=14.0, close_focus_m=0.2))
    wide.evaluate("location.hash = '#L1'")
    wide.wait_for_function("tapehook.shown() === 'L1'")
    wide.press("#distance-slider", "Home")
    # 0.2 m - 14 mm - 130 mm leaves 56 mm: (1 + 130/56)^2 - 1, ten times the width, by hand.
    assert said(wide, "trust")[0].startswith("Too near to trust without pupil data: +- more than the whole depth")


@pytest.mark.parametrize(
    "prep, words, silent",
    [
        pytest.param(one_lens(()), {"ring-note": "No focus map: no readings.", "ring": "–"}, [], id="no readings"),
        pytest.param(
            one_lens(marks=TURNING), {"ring-note": "The map turns back on itself", "ring": "–"}, [], id="turns back"
        ),
        pytest.param(
            one_lens(focal_mm=None),
            {"trust": "No focal length, so no depth of field."},
            ["#rule .zone", ".limits", ".hyperfocal"],
            id="no focal length",
        ),
        pytest.param(
            one_lens(blur_floor_mm=0.05),
            {"trust": "No depth: the blur left at best focus"},
            ["#rule .zone"],
            id="no depth",
        ),
        pytest.param(one_lens(serial=None), {"lens-line": "serial not read"}, [], id="no serial"),
        pytest.param(
            one_lens((), close_focus_m=None),
            {"ring-note": "Close focus not known: the slider starts at 1 m."},
            [],
            id="no close focus",
        ),
        pytest.param(
            prepare(Job(lenses=(lens(),), readings=readings("L1", both_ways=False))),
            {"ring-note": "Read from far to near only."},
            [],
            id="one way",
        ),
    ],
)
def test_what_is_missing_is_said(open_pocket: OpenPocket, prep: Prep, words: dict[str, str], silent: list[str]) -> None:
    """A lens without data, map, depth or serial says so in words where the figure would stand, and shows no figure."""
    page = open_pocket(prep, "L1")
    for place, sentence in words.items():
        assert sentence in said(page, place)[0]
    for selector in silent:
        assert not page.locator(selector).is_visible()


# --- hands and keys -----------------------------------------------------------------------------------------


def test_keyboard_alone_is_enough(demo: Prep, open_pocket: OpenPocket) -> None:
    """From opening the page to a ring position without touching the screen: search, arrows, sliders, typing, back."""
    page = open_pocket(demo)
    page.keyboard.press("Tab")
    while page.evaluate("document.activeElement.id") != "search":
        page.keyboard.press("Tab")
    page.keyboard.type("50")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    page.wait_for_function("tapehook.shown() === 'L05'")
    assert page.evaluate("document.activeElement.id") == "lens-title"
    reached = []
    for _ in range(12):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id"))
        if reached[-1] == "distance-slider":
            break
    assert reached == ["distance", "stop", "distance-slider"]
    before = page.evaluate("tapehook.parseDistance(document.getElementById('distance').value, null)")
    page.keyboard.press("ArrowRight")
    farther = page.evaluate("tapehook.parseDistance(document.getElementById('distance').value, null)")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    nearer = page.evaluate("tapehook.parseDistance(document.getElementById('distance').value, null)")
    assert nearer < before < farther
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "farther"
    page.keyboard.press("Enter")
    assert page.evaluate("tapehook.parseDistance(document.getElementById('distance').value, null)") > nearer
    page.go_back()
    page.wait_for_function("document.body.dataset.view === 'find'")


def test_arrow_keys_walk_the_whole_range(demo: Prep, open_pocket: OpenPocket) -> None:
    """Key by key from close focus every distance is farther than the last, down to infinity, and back the same way."""
    page = open_pocket(demo, "L05")
    walked = page.evaluate(
        """() => {
          const slider = document.getElementById("distance-slider");
          const press = (key) => slider.dispatchEvent(new KeyboardEvent("keydown", { key }));
          const now = () => document.getElementById("distance").value;
          const walk = (key) => {
            const seen = [now()];
            for (let i = 0; i < 3000; i += 1) {
              press(key);
              if (now() === seen.at(-1)) return seen;
              seen.push(now());
            }
            return seen;
          };
          press("Home");
          const out = walk("ArrowRight");
          return [out, walk("ArrowLeft")];
        }"""
    )
    out, back = (
        [page.evaluate("t => String(tapehook.parseDistance(t, null))", text) for text in each] for each in walked
    )
    far = [float(text.replace("Infinity", "inf")) for text in out]
    home = [float(text.replace("Infinity", "inf")) for text in back]
    assert far == sorted(far)
    assert home == sorted(home, reverse=True)
    assert walked[0][-1] == walked[1][0] == "∞"
    assert walked[0][0] == walked[1][-1] == "2'"
    assert 100 < len(far) < 2500


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_stay_text(open_pocket: OpenPocket, name: str) -> None:
    """A name that looks like markup or code is shown as it is written, everywhere, and does nothing.

    What does not show, or would turn what stands beside it, such as the letter of the camera, is left out.
    """
    shown = "".join(sign if sign.isprintable() else " " for sign in name).strip()
    prep = one_lens(title=name, id=name[:60].replace("\u2028", " ").replace("\u2029", " "), serial=name, model=name)
    page = open_pocket(prep, prep.lenses[0].lens.id)
    assert page.evaluate("globalThis.broken") is None
    assert shown in said(page, "lens-title")[0]
    assert shown in said(page, "lens-line")[0]
    assert "\u202e" not in page.inner_text("body")
    assert page.locator("img").count() == 0
    page.fill("#distance", name)
    page.press("#distance", "Enter")
    assert page.evaluate("globalThis.broken") is None
    assert said(page, "refusal")[0].startswith("“")


def test_reads_without_scripts(demo: Prep, browser: "Browser", tmp_path: Path) -> None:
    """In a viewer that runs no scripts each lens folds out to its tables, and no dead control is to be seen."""
    path = tmp_path / "pocket.html"
    path.write_text(render_pocket(demo), encoding="utf-8")
    with browser.new_context(
        offline=True, java_script_enabled=False, viewport={"width": 360, "height": 740}
    ) as context:
        page = context.new_page()
        page.goto(path.as_uri())
        assert page.locator("button:visible, input:visible").count() == 0
        assert page.locator("noscript").is_visible()
        assert page.locator(".sheet:visible").count() == len(demo.lenses)
        entry = demo.lens("L05")
        sheet = page.locator(".sheet").nth(4)
        sheet.locator("summary").click()
        text = sheet.inner_text()
        assert entry.title in text
        for row in entry.rounds:
            assert row.text in text
            assert format_position(row.position, entry.lens.unit, step=entry.lens.reading_step) in text
        assert page.locator("body").evaluate("b => b.scrollWidth") <= 360


def test_findings_on_the_whole_job_stand_with_the_list(open_pocket: OpenPocket) -> None:
    """What concerns no one lens is seen before a lens is chosen, and does not stand in the way after."""
    page = open_pocket(one_lens())
    assert "No shooting stop is set" in page.inner_text("#general")
    page.evaluate("location.hash = '#L1'")
    page.wait_for_function("tapehook.shown() === 'L1'")
    assert not page.locator("#general").is_visible()
    assert page.locator("#general").count() == 1
    assert open_pocket(one_lens(stop="T2")).locator("#general").count() == 0


def test_empty_job_opens(open_pocket: OpenPocket) -> None:
    """A job without lenses opens to an empty list, at every width."""
    for width, height in SIZES:
        page = open_pocket(prepare(Job(title="Empty")), width=width, height=height)
        assert said(page, "found") == ["0 lenses"]
