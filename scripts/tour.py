"""Make the pictures of the README's tour from the demo job: `make tour`.

Pages of the PDF as they print, the pocket page as a phone shows it. The result is committed under docs/pictures, so
that the README can be read without running anything.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import pymupdf
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parents[1]
PICTURES = ROOT / "docs" / "pictures"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SHOWN_LENS = "25 mm"
DOTS_PER_INCH = 80


def main() -> None:
    """Prepare the demo job afresh and take its pictures."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        out = Path(scratch) / "out"
        command = [sys.executable, "-m", "tapehook", "demo", "--out", str(out)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        pdf_pages(out / "handover.pdf")
        pocket_page(out / "pocket.html")


def pdf_pages(pdf: Path) -> None:
    """The cover, and the page of the lens with a mistyped mark."""
    with pymupdf.open(pdf) as document:
        page_with = next(
            page.number for page in document if page.number > 0 and page.get_text().lstrip().startswith(SHOWN_LENS)
        )
        for name, number in (("cover", 0), ("lens", page_with)):
            document[number].get_pixmap(dpi=DOTS_PER_INCH).save(PICTURES / f"{name}.png")


def pocket_page(page_file: Path) -> None:
    """The pocket page at phone size with one lens picked, dark and light."""
    browser_path = subprocess.run(
        ["bash", str(ROOT / "scripts" / "browser.sh")], check=True, capture_output=True, text=True
    ).stdout.strip()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path, args=FLAGS)
        for theme in ("dark", "light"):
            _phone(browser, page_file, theme)
        browser.close()


def _phone(browser: Browser, page_file: Path, theme: str) -> None:
    context = browser.new_context(
        viewport={"width": 360, "height": 780},
        color_scheme="dark" if theme == "dark" else "light",
        reduced_motion="reduce",
    )
    context.set_offline(True)  # the page must not ask for anything
    page = context.new_page()
    page.goto(page_file.as_uri())
    page.get_by_text(SHOWN_LENS).first.click()
    page.wait_for_timeout(300)
    page.screenshot(path=PICTURES / f"pocket-{theme}.png")
    context.close()


if __name__ == "__main__":
    main()
