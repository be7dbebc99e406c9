"""A browser waits for a job that takes long, sees how far it is, and comes to the page by itself."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tapehook.pages import desk as desk_module
from tapehook.prep import prepare
from tests.browser.pages_server import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture
def held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, threading.Event]]:
    """The demo job on a server that goes on with it only when the test says so."""
    on = threading.Event()

    def slowly(job: Any, *, run: Any) -> Any:  # noqa: ANN401 - as prepare
        on.wait(30.0)
        return prepare(job, run=run)

    monkeypatch.setattr(desk_module, "prepare", slowly)
    with served(tmp_path / "slow.book", demo=True) as address:
        yield address, on
        on.set()


def test_the_page_comes_by_itself(browser: "Browser", held: tuple[str, threading.Event]) -> None:
    """Without scripts: first what is being done, then Prep, at the same address."""
    address, on = held
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    assert "0 of 24 lenses are done" in page.locator("#waiting-for").inner_text()
    waited_at = page.url
    on.set()
    page.get_by_role("heading", name="What is left to do").wait_for(timeout=15_000)
    assert page.url == waited_at
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_while_it_waits(
    browser: "Browser",
    held: tuple[str, threading.Event],
    scheme: Any,  # noqa: ANN401 - a scheme
) -> None:
    """Nor is the page too wide for a phone, nor is anything said on the console."""
    address, on = held
    context = browser.new_context(color_scheme=scheme, viewport={"width": 360, "height": 740})
    page, said = context.new_page(), list[str]()
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    # The page asks again each second: held here, so that it stands still while it is looked at.
    page.route("**/job/*/prep", _without_refresh)
    page.goto(address)
    page.locator("#waiting-for").wait_for()
    page.evaluate(AXE)
    result: dict[str, Any] = page.evaluate("axe.run({ resultTypes: ['violations'] })")
    assert [(one["id"], one["nodes"][0]["html"]) for one in result["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert said == []
    on.set()
    context.close()


def _without_refresh(route: Any) -> None:  # noqa: ANN401 - a route of the browser
    answer = route.fetch()
    headers = {name: value for name, value in answer.headers.items() if name != "refresh"}
    route.fulfill(response=answer, headers=headers)
