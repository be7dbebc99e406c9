"""The pages as they are sent: each there, each escaped, each saying what prep found and nothing else."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from tapehook.finding import Finding
from tapehook.pages.explain import TOPICS, topic_of
from tapehook.prep import prep_as_json, prepare
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.kit import NOBODY, Served, job_key, lens_key, measured_lens

ROOT = Path(__file__).parents[2]
JOB_PAGES = ("prep", "left", "onset", "shots", "light", "weather", "radio", "strips", "kit", "handover")
NASTY = """<script>alert(1)</script>"'><img src=x onerror=alert(2)>${7*7}{{7*7}}"""
HOSTILE = (NASTY, "</script><script>alert(3)</script>", "\u202egnp.exe", "javascript:alert(4)", "a\u2028b")


class Outline(HTMLParser):
    """What a page holds: elements with attributes, and whether every one that opens closes."""

    VOID = frozenset({"meta", "link", "input", "br", "img", "hr"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)


def outline(text: str) -> Outline:
    """A page read."""
    found = Outline()
    found.feed(text)
    found.close()
    return found


def _paths(client: Client) -> list[str]:
    job = job_key(client)
    lens = lens_key(client, job, "L03")
    return [
        *(f"/job/{job}/{name}" for name in JOB_PAGES),
        f"/job/{job}/bench/{lens}",
        f"/lens/{lens}",
        "/lenses",
        "/lenses?q=teasel",
        "/help",
        "/jobs",
        "/let-in",
        "/pair",
    ]


def test_each_page_is_there_and_whole(laptop: Client) -> None:
    """Status 200, every element closed, one heading of the first level, no script or style inside, all files ours."""
    for path in _paths(laptop):
        answer = laptop.get(path)
        assert answer.status == 200, path
        found = outline(answer.text)
        assert (found.wrong, found.open) == ([], []), path
        assert sum(tag == "h1" for tag, _ in found.elements) == 1, path
        for tag, attributes in found.elements:
            assert not any(name.startswith("on") or name == "style" for name in attributes), (path, tag)
            if tag == "script" and attributes.get("type") != "application/json":
                assert (attributes.get("src") or "").startswith("/static/"), path
            for name in ("src", "href", "action"):
                assert "//" not in (attributes.get(name) or ""), (path, attributes)


def test_every_file_a_page_names_is_served(laptop: Client) -> None:
    """Style, scripts, and what those import; with their kind, so that nosniff lets them run."""
    wanted = {"/static/pages.css", "/static/theme.js", "/static/pair.js"}
    for path in _paths(laptop):
        wanted |= set(re.findall(r'(?:src|href)="(/static/[^"]+)"', laptop.get(path).text))
    done: set[str] = set()
    while wanted - done:
        path = (wanted - done).pop()
        done.add(path)
        answer = laptop.get(path)
        assert answer.status == 200, path
        kind = {"js": "javascript", "css": "css", "woff2": "font"}[path.rpartition(".")[2]]
        assert kind in answer.header("content-type"), path
        if path.endswith("woff2"):
            continue
        for name in re.findall(r'from "(\./[^"]+)"', answer.text):
            wanted.add(f"{path.rpartition('/')[0]}/{name.removeprefix('./')}")
        wanted |= set(re.findall(r'url\("(/static/[^"]+)"\)', answer.text))
    assert {"/static/web/depth.js", "/static/fonts/IBMPlexSans-Regular.woff2"} <= done


def test_prep_lists_every_lens_worst_first(laptop: Client) -> None:
    """24 lenses; those with something to fix stand before those without, and no finding to act on is left out."""
    job = job_key(laptop)
    found = laptop.get(f"/api/jobs/{job}/prep").json
    order = [one["id"] for one in laptop.get(f"/api/jobs/{job}/lenses").json["lenses"]]
    fixes = {one["lens_id"] for one in found["findings"] if one["severity"] == "fix"}
    assert len(order) == 24
    assert set(order[: len(fixes)]) == fixes
    page = laptop.get(f"/job/{job}/prep").text
    acting = [one for one in found["findings"] if one["severity"] != "info"]
    assert page.count('<li class="finding') == len(acting) > 10


def test_the_interface_prints_what_the_command_prints(laptop: Client, demo_server: Served) -> None:
    """Prepared lens by lens in the server, the demo job is to the last digit what ``prep --json`` prints, and fits."""
    from tapehook.book.jobs import load_job

    found = laptop.get(f"/api/jobs/{job_key(laptop)}/prep").json
    own = json.loads(json.dumps(prep_as_json(prepare(load_job(demo_server.book, "Ninety Herons, prep")))))
    assert found == own
    assert list(misfits({**found, "files": []}, schema("prep"))) == []
    assert list(misfits(laptop.get(f"/api/jobs/{job_key(laptop)}/maps").json, schema("map"))) == []


@pytest.mark.parametrize("path", [f"/job/{NOBODY}/prep", f"/lens/{NOBODY}", "/nowhere", "/job/x/prep"])
def test_what_is_not_there_is_said_on_a_page(laptop: Client, path: str) -> None:
    """A sentence and the way back; as JSON to a program, in the shape all refusals have."""
    answer = laptop.get(path)
    assert answer.status in {404, 422}
    assert "This cannot be shown" in answer.text
    refused = laptop.get("/api/jobs/x/prep").json
    assert list(misfits(refused, schema("problems"))) == []


def test_every_finding_has_an_explanation(laptop: Client) -> None:
    """Each kind the checks can make leads to a topic; each topic is served and holds at least one sentence."""
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "src/tapehook/prep").glob("*.py"))
    kinds = "map|backlash|budget|flange|pupil|light|heat|ends|twin|lens|camera|job|stop|morning|weather|port"
    codes = set(re.findall(rf'"((?:{kinds})\.\w+)"', source))
    assert len(codes) > 40
    for code in codes:
        assert topic_of(code) in TOPICS
        if code.partition(".")[0] in TOPICS and code != "map.next_mark":
            assert topic_of(code) == code.partition(".")[0]
    for topic in TOPICS:
        assert laptop.get(f"/part/help/{topic}").json["sentences"]


def test_an_empty_book_offers_the_demo_job(server: Served) -> None:
    """The landing page of nothing: the demo job by one button, the tour, a form. Afterwards it leads to Prep."""
    client = Client(server.app)
    page = client.get("/").text
    assert 'data-api="/api/demo"' in page
    assert "/help#tour" in page
    key = client.post("/api/demo").json["key"]
    answer = client.get("/")
    assert (answer.status, answer.header("location")) == (303, f"/job/{key}/prep")
    assert client.post("/api/demo").status == 200  # the same again adds nothing
    assert len(client.get("/api/jobs").json["jobs"]) == 1


def _hostile_job(client: Client, text: str) -> str:
    """A job in which every field that takes text holds the same."""
    key = client.post("/api/jobs", {"name": text, "shooting_stop": "T2.8"}).json["key"]
    sent = {"letter": "A", "name": text, "colour": text}
    assert client.post(f"/api/jobs/{key}/cameras", sent).status == 200
    sent = {"id": text[:60], "camera": "A", "axis": "extra", "positions": f"{text[:30].replace(',', '')} = 0, b = 100"}
    client.post(f"/api/jobs/{key}/motors", sent)
    lens = {"id": text[:60], "focal": "50 mm", "stop": "T2", "serial": text[:60], "model": text[:60], "note": text}
    answer = client.post(f"/api/jobs/{key}/lenses", lens)
    assert answer.status == 200, answer.text
    path = f"/api/jobs/{key}/bench/{answer.json['lens']}"
    column = "\n".join(f"{distance} m\t{position}" for distance, position in ((1, 90), (2, 60.5), (4, 30), (9, 12)))
    assert client.post(f"{path}/column", {"text": column}).status == 200
    client.post(f"{path}/charts", {"distance": "3 m", "position": "40", "camera": text})
    client.post(f"/api/jobs/{key}/sign", {"lens": answer.json["lens"], "who": text, "note": text})
    reading = client.get(path).json["marks"][0]["near_to_far"]
    client.post(f"{path}/correct", {"id": reading[0]["id"], "position": "91", "reason": text})
    shelf = client.post("/api/shelves", {"name": text}).json["key"]
    client.post(f"/api/lenses/{answer.json['lens']}/shelf", {"shelf": shelf, "pinned": True})
    client.post(f"/api/lenses/{answer.json['lens']}/work", {"needs_work": True, "why": text})
    return str(key)


@pytest.mark.parametrize("text", HOSTILE)
def test_text_of_people_is_never_markup(server: Served, text: str) -> None:
    """The same hostile text in every field there is: on no page, part, picture or download does it become anything."""
    client = Client(server.app)
    client.get("/")
    job = _hostile_job(client, text)
    lens = client.get(f"/api/jobs/{job}/lenses").json["lenses"][0]["key"]
    code = server.sessions.new_code("view")
    server.sessions.let_in(code.digits, text, "192.168.7.30")
    shelf = client.get("/lenses").text.split("/lenses?shelf=")[1][:32]
    paths = [f"/job/{job}/{name}" for name in JOB_PAGES]
    paths += [f"/job/{job}/bench/{lens}", f"/lens/{lens}", "/lenses", f"/lenses?shelf={shelf}", "/jobs", "/let-in"]
    paths += ["/lenses?q=%3Cscript%3Ealert(1)%3C/script%3E", f"/job/{job}/file/pocket.html"]
    for path in paths:
        answer = client.get(path)
        assert answer.status == 200, (path, answer.text[:300])
        _harmless(answer.text, path)
    for part in (f"/part/prep/{job}", f"/part/bench/{job}/{lens}"):
        for name, html in client.get(part).json["parts"].items():
            _harmless(html, f"{part} {name}")
    assert client.get(f"/job/{job}/file/handover.pdf").body.startswith(b"%PDF")


def _harmless(text: str, place: str) -> None:
    found = outline(text)
    ours = [attributes for tag, attributes in found.elements if tag == "script"]
    pocket = place.endswith("pocket.html")
    assert all("src" in one or one.get("type") == "application/json" or pocket for one in ours), place
    assert not any(tag == "img" for tag, _ in found.elements), place
    for _, attributes in found.elements:
        assert not any(name.startswith("on") for name in attributes), place
        assert not any("javascript:" in (attributes.get(name) or "") for name in ("href", "src")), place
    assert "49" not in re.findall(r"\$?\{?(\d+)\}*{{?7", text), place
    assert "\u202e" not in text, place


def test_downloads_come_under_their_own_policy(laptop: Client) -> None:
    """The pocket page is sandboxed: it runs its own script and can reach nothing of ours; the PDF is a PDF."""
    job = job_key(laptop)
    pocket = laptop.get(f"/job/{job}/file/pocket.html?view=true")
    policy = pocket.header("content-security-policy")
    assert "sandbox allow-scripts" in policy
    assert "allow-same-origin" not in policy
    assert "script-src 'sha256-" in policy
    pdf = laptop.get(f"/job/{job}/file/handover.pdf")
    assert (pdf.header("content-type"), pdf.body[:4]) == ("application/pdf", b"%PDF")
    assert pdf.header("content-disposition") == 'attachment; filename="handover.pdf"'
    names = [one["name"] for one in laptop.get(f"/job/{job}/files").json["files"]]
    assert {"handover.pdf", "pocket.html", "prep.json"} <= set(names)
    for name in names:
        assert laptop.get(f"/job/{job}/file/{name}").status == 200


def test_a_viewer_is_shown_no_form_that_writes(viewer: Client) -> None:
    """What a device may not do is not offered to it."""
    job = job_key(viewer)
    for path in (f"/job/{job}/bench/{lens_key(viewer, job, 'L03')}", f"/job/{job}/kit", "/lenses"):
        page = viewer.get(path).text
        assert "may look, and not write" in page
        assert 'id="reading"' not in page
        assert "add a lens" not in page


def test_twins_tell_of_each_other(demo_server: Served) -> None:
    """Both copies of a pair name the other, with a link to it and what ``tapehook twins`` says of the two."""
    client = Client(demo_server.app)
    client.get("/")
    job = job_key(client)
    twins = client.get(f"/api/jobs/{job}/twins").json
    assert list(misfits(twins, schema("twins"))) == []
    pair = twins["pairs"][0]
    for mine, other in ((pair["lens"], pair["lender"]), (pair["lender"], pair["lens"])):
        page = client.get(f"/lens/{lens_key(client, job, mine)}").text
        assert f'<h2>Twin <a href="/lens/{lens_key(client, job, other)}"><bdi>{other}</bdi></a></h2>' in page
        told = page.split("<h2>Twin")[1].split("</section>")[0]
        assert f"{pair['lender']}" in told
        assert "depth" in told


def test_a_provisional_serial_is_read_at_last(server: Served) -> None:
    """A lens without a serial says so; given its serial it keeps its readings and is found by it, slip or not."""
    client = Client(server.app)
    client.get("/")
    job, lens = measured_lens(client)
    unread = client.post(f"/api/jobs/{job}/lenses", {"id": "L2", "focal": "75 mm", "model": "Harbour 75"}).json["lens"]
    assert "serial not read" in client.get(f"/lens/{unread}").text
    real = client.post(f"/api/lenses/{unread}/serial", {"serial": "H-7702"}).json["key"]
    assert "H-7702" in client.get(f"/lens/{real}").text
    found = client.get("/api/lenses?q=H-7720").json["lenses"]
    assert [one["serial"] for one in found] == ["H-7702"]
    assert client.post(f"/api/lenses/{lens}/serial", {"serial": "1"}).status == 422


def test_findings_are_shown_as_they_are() -> None:
    """The part that shows a finding has its message, its next step, its severity as sign and word, and no more."""
    from tapehook.pages.routes import ENVIRONMENT

    finding = Finding("map.one_way", "watch", "lens L1", "Read <one> way.", "Read both ways.", lens_id="L1")
    macro: Any = ENVIRONMENT.globals["finding"]
    html = str(macro(finding))
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).strip()
    assert text == "! watch Read &lt;one&gt; way. Read both ways. ?"
