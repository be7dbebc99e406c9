"""Every page in a real browser: nothing axe objects to, nothing too wide, both themes, help, keys, and print."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.pages_server import Visits

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
OTHERS = ((360, "light"), (820, "light"), (820, "dark"), (1440, "dark"))
"""What `make test-slow` looks at besides a phone in the dark and a laptop by day."""
NAMES = (
    "prep",
    "left",
    "bench",
    "photos",
    "onset",
    "shots",
    "card",
    "light",
    "weather",
    "stop-card",
    "radio",
    "strips",
    "swap",
    "lenses",
    "lens",
    "kit",
    "handover",
    "help",
    "let-in",
    "jobs",
    "pair",
)
OF_THE_JOB = ("prep", "left", "onset", "shots", "light", "weather", "radio", "strips", "kit", "handover")


def _addresses(page: "Page") -> dict[str, str]:
    """The pages by name, from the landing page."""
    page.wait_for_url(re.compile("/prep$"))
    job = page.url.rsplit("/", 1)[0]
    site = job.split("/job/")[0]
    bench = page.locator("table.lenses a", has_text="25 mm").first.get_attribute("href") or ""
    return {
        **{name: f"{job}/{name}" for name in OF_THE_JOB},
        **{name: f"{site}/{name}" for name in ("lenses", "help", "let-in", "jobs", "pair")},
        "bench": site + bench,
        "photos": site + (page.locator("table.lenses a", has_text="55 mm").first.get_attribute("href") or ""),
        "swap": site + bench.replace("/bench/", "/swap/"),
        "card": f"{job}/card?shot=window",
        "stop-card": f"{job}/stop-pull-card?shot=window",
        "lens": f"{site}/lens/{bench.rsplit('/', 1)[1]}",
    }


@pytest.mark.parametrize(
    "width, scheme",
    [
        (360, "dark"),
        (1440, "light"),
        *(pytest.param(width, scheme, marks=pytest.mark.slow) for width, scheme in OTHERS),
    ],
)
def test_axe_finds_nothing_and_nothing_is_cut_off(demo_pages: Visits, width: int, scheme: Any) -> None:  # noqa: ANN401
    """All pages, in both themes, on a phone, a tablet and a laptop: no violation, no sideways scrolling, each control
    large enough for a thumb."""
    page = demo_pages.open(width=width, height=800, scheme=scheme)
    addresses = _addresses(page)
    assert set(addresses) == set(NAMES)
    page.add_init_script(AXE)
    for name, address in addresses.items():
        page.goto(address)
        if name == "onset":
            page.locator("#near", has_text=re.compile(r"\d")).wait_for()
        if name == "photos":
            page.locator(".photo-row img").scroll_into_view_if_needed()
            page.wait_for_function("() => document.querySelector('.photo-row img').naturalWidth > 0")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        result: dict[str, Any] = page.evaluate("axe.run({ resultTypes: ['violations'] })")
        found = [(one["id"], [node["target"] for node in one["nodes"]][:3]) for one in result["violations"]]
        assert found == [], name
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, name
        small = page.evaluate(
            """() => [...document.querySelectorAll("button, input, select, summary")].filter((one) => {
              const { width, height } = one.getBoundingClientRect();
              return width > 0 && (width < 20 || height < 20);
            }).map((one) => one.outerHTML.slice(0, 80))"""
        )
        assert small == [], name


def test_axe_finds_nothing_in_dialogs(demo_pages: Visits) -> None:
    """An explanation, the keys, a reading put right, the shelf: open, named, and closed by Escape."""
    page = demo_pages.open()
    addresses = _addresses(page)
    page.add_init_script(AXE)
    for name, opener, dialog in (
        ("prep", "button.help", "#help"),
        ("help", "[data-keys]", "#keys"),
        ("bench", "button.reading", "#correct"),
        ("onset", "#swap", "#shelf"),
    ):
        page.goto(addresses[name])
        page.locator(opener).first.click()
        page.locator(f"{dialog}[open]").wait_for()
        if name == "prep":
            page.locator("#help-text p").first.wait_for()
        result: dict[str, Any] = page.evaluate("axe.run({ resultTypes: ['violations'] })")
        assert [one["id"] for one in result["violations"]] == [], name
        page.keyboard.press("Escape")
        page.locator(f"{dialog}[open]").wait_for(state="detached")


def _ground(page: "Page") -> str:
    return str(page.evaluate("getComputedStyle(document.body).backgroundColor"))


def test_themes_follow_the_device_and_can_be_pinned(demo_pages: Visits) -> None:
    """Paper on a light device, dim on a dark one; pinned, it holds on the next page; On set is dim until pinned."""
    page = demo_pages.open(scheme="light")
    page.wait_for_url(re.compile("/prep$"))
    paper = _ground(page)
    dim = _ground(demo_pages.open(scheme="dark"))
    assert paper != dim
    page.goto(page.url.replace("/prep", "/onset"))
    assert _ground(page) == dim
    page.click("#theme")
    assert (_ground(page), page.locator("#theme").inner_text()) == (paper, "paper")
    page.click("#theme")
    assert _ground(page) == dim
    page.goto(demo_pages.address + "/help")
    assert _ground(page) == dim
    page.click("#theme")
    assert (_ground(page), page.locator("#theme").inner_text()) == (paper, "device")


def test_pages_by_keys(demo_pages: Visits) -> None:
    """g and a letter lead to each page, / to the first field, ? to the keys."""
    page = demo_pages.open()
    page.wait_for_url(re.compile("/prep$"))
    named = (
        ("o", "onset"),
        ("t", "shots"),
        ("i", "light"),
        ("w", "weather"),
        ("s", "strips"),
        ("k", "kit"),
        ("h", "handover"),
        ("l", "lenses"),
    )
    for key, ending in (("b", "/bench/"), *((key, f"/{name}") for key, name in named)):
        page.evaluate("document.activeElement.blur()")
        page.keyboard.press("g")
        page.keyboard.press(key)
        page.wait_for_url(re.compile(ending))
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.id") == "search"
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("?")
    page.locator("#keys[open]").wait_for()


def test_a_finding_leads_to_where_it_is_settled(demo_pages: Visits) -> None:
    """From the list of Prep by one click to the bench of that lens, where the same sentence stands."""
    page = demo_pages.open()
    page.wait_for_url(re.compile("/prep$"))
    finding = page.locator(".finding.fix").first
    sentence = finding.locator("bdi").first.inner_text()
    finding.locator("a").click()
    page.wait_for_url(re.compile("/bench/"))
    page.get_by_text(sentence).first.wait_for()


def test_a_page_prints_without_what_is_pressed(demo_pages: Visits) -> None:
    """On paper there are no buttons, no fields and no dark ground; the readings are still there."""
    page = demo_pages.open(scheme="dark")
    page.goto(_addresses(page)["bench"])
    page.emulate_media(media="print")
    assert _ground(page) == "rgb(255, 255, 255)"
    assert not page.locator("#undo").is_visible()
    assert page.locator("button.reading").first.is_visible()
    assert page.pdf()[:4] == b"%PDF"


def test_a_device_is_let_in(demo_pages: Visits) -> None:
    """The laptop shows code and QR picture; what stands behind # fills the code in, and the device is on the list."""
    page = demo_pages.open("/let-in")
    page.get_by_role("button", name="New code: look only").click()
    page.locator(".code").wait_for()
    code = page.locator(".code").inner_text().replace(" ", "")
    assert re.fullmatch(r"\d{6}", code)
    device = demo_pages.open(f"/pair#{code}", width=360)
    assert device.input_value("#code") == code
    assert "#" not in device.url
    device.fill("#who", "Ben")
    device.press("#who", "Enter")
    device.get_by_text("What is left to do").wait_for()
    assert device.evaluate("document.body.dataset.right") == "view"
    page.goto(demo_pages.address + "/let-in")
    page.get_by_role("button", name="end").first.click()
    page.get_by_text("None.").wait_for()
