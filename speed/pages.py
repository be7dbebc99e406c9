"""The pages: a reading typed to the map redrawn, a slider moved to the picture, and a set full of people at once.

The server runs as people run it, `tapehook serve`, in a process of its own. The browser is the system's Chromium.
"""

import asyncio
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from speed.harness import Case, Contender, Seconds, case
from speed.startup import COMMAND
from tapehook.book.folders import read_folder
from tapehook.book.importing import Folder, carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Writer, new_book
from tapehook.job import Lens, Reading

ROOT = Path(__file__).parents[1]
MARKS = 20
TYPED_ON = "L99"
TYPED = 40
MOVES = 300
READERS, WRITERS = 50, 10
LENSES_EACH = 3
LASTS_S = 60.0
EVERY_S = 1.0
"""A live page asks about as often, and nobody types readings faster."""


@contextmanager
def serving() -> Iterator[str]:
    """`tapehook serve` on the demo job, on a free port: host and port."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "speed.book"
        with new_book(str(path)) as book:
            read = _with_a_lens_of_twenty_marks(read_folder(Path(str(files("tapehook") / "demo_job"))))
            with book.writing(Writer("Mara", "speed")) as writing:
                carry_out(writing, plan_import(writing.connection, read, Answers()), read)
        command = [str(COMMAND)] if COMMAND.exists() else [sys.executable, "-m", "tapehook"]
        with subprocess.Popen(
            [*command, "serve", "--book", str(path), "--port", "0", "--json"], stdout=subprocess.PIPE, text=True
        ) as server:
            said = ""
            while server.stdout is not None and not said.rstrip().endswith("}"):
                said += server.stdout.readline()
            try:
                yield str(json.loads(said)["addresses"][0]).removeprefix("http://").rstrip("/")
            finally:
                server.terminate()
                server.wait(10)


def _with_a_lens_of_twenty_marks(read: Folder) -> Folder:
    """The demo job with one more lens, whose ring turns 200° over the distance in metres, read to 0.1°."""
    lens = Lens(id=TYPED_ON, focal_mm=50.0, t_stop=1.4, serial="99", camera="A", reading_step=0.1, engraved_in="metric")
    distances = [round(0.7 * 1.16**at, 2) for at in range(MARKS)]
    added = tuple(
        Reading(lens_id=TYPED_ON, written=f"{at} m", value=at, position=round(200 / at, 1), approach="near_to_far")
        for at in distances
    )
    job = read.job.model_copy(update={"lenses": (*read.job.lenses, lens), "readings": (*read.job.readings, *added)})
    return replace(read, job=job)


@dataclass
class Asker:
    """One keep-alive connection to the server, as a browser keeps it."""

    place: str
    cookie: str = ""
    token: str = ""
    times: list[float] = field(default_factory=list)
    _reader: asyncio.StreamReader | None = None
    _writer: asyncio.StreamWriter | None = None

    async def ask(self, method: str, path: str, data: object = None, *, count: bool = True) -> tuple[int, bytes]:
        """Status and body; the time it took is noted."""
        if self._writer is None or self._reader is None:
            host, _, port = self.place.partition(":")
            self._reader, self._writer = await asyncio.open_connection(host, int(port))
        body = b"" if data is None else json.dumps(data).encode()
        lines = [f"{method} {path} HTTP/1.1", f"host: {self.place}", f"content-length: {len(body)}"]
        lines += [f"cookie: {self.cookie}"] if self.cookie else []
        lines += [f"x-tapehook-token: {self.token}", "content-type: application/json"] if body else []
        start = time.perf_counter()
        self._writer.write("\r\n".join(lines).encode() + b"\r\n\r\n" + body)
        await self._writer.drain()
        head = (await self._reader.readuntil(b"\r\n\r\n")).decode("latin-1")
        length = int(next(re.finditer(r"(?im)^content-length: (\d+)", head)).group(1))
        found = await self._reader.readexactly(length)
        if count:
            self.times.append(time.perf_counter() - start)
        if given := re.search(r"(?im)^set-cookie: (tapehook=[^;]+)", head):
            self.cookie = given.group(1)
        return int(head.split()[1]), found

    async def begin(self) -> tuple[str, list[str]]:
        """A session and its token; the key of the job, and those of its lenses."""
        _, found = await self.ask("GET", "/api/session", count=False)
        self.token = json.loads(found)["token"]
        _, found = await self.ask("GET", "/api/jobs", count=False)
        job = json.loads(found)["jobs"][0]["key"]
        _, found = await self.ask("GET", f"/api/jobs/{job}/lenses", count=False)
        return job, [one["key"] for one in json.loads(found)["lenses"]]


async def _read(asker: Asker, number: int, ends: float) -> int:
    """A page that is looked at: its parts anew, again and again. How many answers were no answer."""
    job, lenses = await asker.begin()
    paths = (
        f"/part/bench/{job}/{lenses[number % len(lenses)]}",
        f"/part/prep/{job}",
        f"/api/watch?topics={job}&since=x&wait=0",
        f"/api/jobs/{job}/onset",
    )
    await asyncio.sleep(EVERY_S * number / READERS)
    wrong = 0
    while time.perf_counter() < ends:
        started = time.perf_counter()
        status, _ = await asker.ask("GET", paths[len(asker.times) % len(paths)])
        wrong += status != 200
        await asyncio.sleep(max(0.0, started + EVERY_S - time.perf_counter()))
    return wrong


async def _write(asker: Asker, number: int, ends: float, kept: list[str], own: list[str]) -> int:
    """Somebody who types readings. How many were refused; the keys of the others are ``kept``."""
    job, _ = await asker.begin()
    await asyncio.sleep(EVERY_S * number / WRITERS)
    wrong = 0
    while time.perf_counter() < ends:
        started = time.perf_counter()
        at = len(asker.times)
        distance = 0.7 * 1.16 ** (at % MARKS)
        path = f"/api/jobs/{job}/bench/{own[number + WRITERS * (at // MARKS % LENSES_EACH)]}/readings"
        sent = {"distance": f"{distance:.2f} m", "position": f"{200 / distance:.1f}", "sent": f"w{number}-{at}"}
        status, found = await asker.ask("POST", path, sent)
        wrong += status != 200
        kept += json.loads(found).get("added", [])
        await asyncio.sleep(max(0.0, started + EVERY_S - time.perf_counter()))
    return wrong


async def crowd(place: str, lasts_s: float) -> tuple[list[float], int, int, int]:
    """Fifty who look and ten who type: times of all answers, how many were wrong, readings kept and readings lost."""
    kept: list[str] = []
    first = Asker(place)
    job, _ = await first.begin()
    own = []
    for number in range(WRITERS * LENSES_EACH):
        sent = {"id": f"N{number}", "focal": f"{30 + number % 9} mm", "stop": "T1.5", "serial": f"N{number}"}
        _, found = await first.ask("POST", f"/api/jobs/{job}/lenses", sent)
        own.append(json.loads(found)["lens"])
    ends = time.perf_counter() + lasts_s
    readers = [Asker(place) for _ in range(READERS)]
    writers = [Asker(place) for _ in range(WRITERS)]
    wrong = await asyncio.gather(
        *(_read(one, number, ends) for number, one in enumerate(readers)),
        *(_write(one, number, ends, kept, own) for number, one in enumerate(writers)),
    )
    last = Asker(place)
    job, lenses = await last.begin()
    there: set[str] = set()
    for lens in lenses:
        _, found = await last.ask("GET", f"/api/jobs/{job}/bench/{lens}")
        for mark in json.loads(found)["marks"]:
            there |= {one["id"] for way in ("near_to_far", "far_to_near") for one in mark[way]}
    times = [seconds for one in (*readers, *writers) for seconds in one.times]
    return times, sum(wrong), len(kept), len(set(kept) - there)


def p95(times: list[float]) -> Seconds:
    """The 95th percentile."""
    return Seconds(float(np.percentile(times, 95)))


@case("Pages: 50 who look and 10 who type for a minute")
def crowded() -> Case:
    """The 95th percentile of all answers; one wrong answer or one reading lost is an error."""
    told: dict[str, float] = {}

    def run() -> Seconds:
        # The harness runs everything once untimed; that once may be short.
        with serving() as place:
            times, wrong, kept, lost = asyncio.run(crowd(place, LASTS_S if told else 5.0))
        if wrong or lost:
            raise AssertionError(f"{wrong} wrong answers, {lost} of {kept} readings lost")
        told["answers"], told["kept"] = len(times), kept
        return p95(times)

    return Case(
        ours=Contender("95th percentile of the answers", run),
        rounds=1,
        at_most_s=0.3,
        note=f"Each of {READERS} looks once a second (a bench, Prep, changes, On set figures), each "
        f"of {WRITERS} types a reading a second, {MARKS} to a lens; {LASTS_S:.0f} s. A wrong answer fails it, "
        "and so does a reading acknowledged and not in the book afterwards. Clients and server share the cores.",
    )


def _browser(playwright: Any) -> Any:  # noqa: ANN401 - Playwright's
    path = subprocess.run(
        ["bash", str(ROOT / "scripts" / "browser.sh")], check=True, capture_output=True, text=True
    ).stdout.strip()
    sandbox = [] if os.geteuid() else ["--no-sandbox"]
    return playwright.chromium.launch(executable_path=path, args=["--disable-gpu", "--no-first-run", *sandbox])


_TYPE = """async ([count, first]) => {
  const times = [];
  const picture = document.querySelector("[data-part=picture]");
  const form = document.getElementById("reading");
  for (let i = 0; i < count; i += 1) {
    const distance = 0.75 + first + i / 10;
    form.elements.distance.value = `${distance.toFixed(2)} m`;
    form.elements.position.value = (200 / distance).toFixed(1);
    const was = picture.dataset.shown;
    const start = performance.now();
    form.requestSubmit();
    while (picture.dataset.shown === was) await new Promise((done) => setTimeout(done, 1));
    picture.getBoundingClientRect();
    times.push((performance.now() - start) / 1000);
    await new Promise((done) => setTimeout(done, 150));
    document.getElementById("undo").click();
    const typed = picture.dataset.shown;
    while (picture.dataset.shown === typed) await new Promise((done) => setTimeout(done, 5));
    await new Promise((done) => setTimeout(done, 150));
  }
  return times;
}"""

_SLIDE = """async (moves) => {
  const slider = document.getElementById("distance-slider");
  const times = [];
  for (let i = 0; i < moves; i += 1) {
    slider.value = String(100 + ((i * 37) % 800));
    const start = performance.now();
    slider.dispatchEvent(new Event("input", { bubbles: true }));
    document.getElementById("rule").getBoundingClientRect();
    times.push((performance.now() - start) / 1000);
    await new Promise((done) => setTimeout(done, 4));
  }
  return times;
}"""


def in_page(name: str, script: str, given: object, device: Mapping[str, int]) -> Seconds:
    """Run a script on a page of the demo job in Chromium; the 95th percentile of the times it returns."""
    from playwright.sync_api import sync_playwright

    with serving() as place, sync_playwright() as playwright:
        browser = _browser(playwright)
        page = browser.new_page(viewport=dict(device))
        page.goto(f"http://{place}/")
        page.wait_for_url(re.compile("/prep$"))
        job = page.url.rsplit("/", 1)[0]
        if name == "bench":
            page.goto(job + "/kit")
            page.goto(f"http://{place}{page.locator('tbody a', has_text=TYPED_ON).get_attribute('href')}")
        else:
            page.goto(f"{job}/{name}")
        page.wait_for_timeout(300)
        times = page.evaluate(script, given)
        browser.close()
    return p95(times)


@case("Bench: Enter to the map redrawn, in Chromium")
def enter_to_map() -> Case:
    """From Enter to the new map, findings and shares in the page, with twenty marks."""
    return Case(
        ours=Contender("95th percentile", lambda: in_page("bench", _TYPE, [TYPED, 0], {"width": 1440, "height": 900})),
        rounds=1,
        at_most_s=0.15,
        note=f"{TYPED} readings typed on a lens of {MARKS} marks, each kept in the book and taken back "
        "by undo afterwards; on loopback, to the picture laid out.",
    )


@case("On set: slider to picture, in Chromium")
def slider_to_picture() -> Case:
    """From the slider's move to every figure and the depth rule laid out; no server is asked."""
    return Case(
        ours=Contender("95th percentile", lambda: in_page("onset", _SLIDE, MOVES, {"width": 360, "height": 780})),
        rounds=1,
        at_most_s=0.016,
        note=f"{MOVES} moves of the distance slider, 360 px wide, computed and laid out; painting comes on top.",
    )
