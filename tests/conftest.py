"""What all tests share: how hard Hypothesis tries, and a browser for those that open a page.

TAPEHOOK_HYPOTHESIS picks a profile: ``default`` (a person at work), ``ci`` (the same on every run, so that a
red build means a change) or ``thorough`` (many more examples, for the night before a release).
"""

import os
import shutil
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

from tests.telling import Tell

if TYPE_CHECKING:
    from playwright.sync_api import Browser

settings.register_profile("default", max_examples=100, deadline=None)
settings.register_profile("ci", max_examples=100, deadline=None, derandomize=True, print_blob=True)
settings.register_profile("thorough", max_examples=5_000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("TAPEHOOK_HYPOTHESIS") or ("ci" if os.environ.get("CI") else "default"))

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
QUIET = (
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests with a browser come last: while it is open its driver keeps an event loop, and others need their own.

    Those of faults come first: the longest of all files is among them, and what begins last should be short.
    """
    items.sort(key=lambda item: ("browser" in getattr(item, "fixturenames", ()), "faults" not in item.path.parts))


@pytest.fixture
def tell(record_property: Callable[[str, object], None]) -> Tell:
    """Say a figure that people should see. All stand together at the end of the run, whichever process found them."""
    return lambda text: record_property("figure", text)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The figures that tests told."""
    reports = [each for kept in terminalreporter.stats.values() for each in kept if getattr(each, "when", "") == "call"]
    told = [text for report in reports for name, text in report.user_properties if name == "figure"]
    if told:
        terminalreporter.section("figures")
        terminalreporter.write_line("\n".join(told))


@pytest.fixture(scope="session")
def browser() -> Iterator["Browser"]:
    """The system's Chromium, headless, with a fresh profile; `make test` sees to it that there is one.

    A page with the network off is ``browser.new_context(offline=True).new_page()``.
    """
    from playwright.sync_api import sync_playwright

    named = os.environ.get("TAPEHOOK_CHROMIUM")
    path = shutil.which(named) if named else next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        pytest.fail("no Chromium: run `make test`, or set TAPEHOOK_CHROMIUM to one")
    # Chromium refuses its sandbox to root, and build servers run as root.
    sandbox = () if os.geteuid() else ("--no-sandbox",)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=[*QUIET, *sandbox])
        yield opened
        opened.close()
