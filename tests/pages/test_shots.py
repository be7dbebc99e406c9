"""Shots through the interface: planned without being kept, kept without loss, refused in words."""

import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from tapehook.book.exporting import export_job
from tapehook.book.folders import read_folder
from tests.cli.running import run_json
from tests.pages.asking import Client
from tests.pages.conftest import take_in_demo
from tests.pages.kit import Served, job_key

WALK = {
    "lens": "L05",
    "stop": "T2.8",
    "people": [
        {
            "name": "Ada",
            "path": [{"at_s": 0, "place_m": [0, 5, 1.5]}, {"at_s": 3, "place_m": [0, 2, 1.5]}],
        }
    ],
}


def _ask(client: Client, what: str, shot: object, more: str = "") -> Any:  # noqa: ANN401 - JSON
    return client.get(f"/api/jobs/{job_key(client)}/{what}?shot={quote(json.dumps(shot))}{more}")


def _own(server: Served) -> Client:
    take_in_demo(server.book)
    client = Client(server.app)
    client.get("/help")
    return client


def test_a_plan_says_what_the_command_says(laptop: Client, tmp_path: Path, demo_server: Served) -> None:
    """The demo's shot on the page and by `tapehook pull`: the same findings, moments and ring."""
    shots = laptop.get(f"/api/jobs/{job_key(laptop)}/shots").json["shots"]
    assert [one["name"] for one in shots] == ["quay", "roof", "supper", "window"]
    folder = tmp_path / "herons"
    export_job(demo_server.book, "Ninety Herons, prep", folder)
    for one in shots:
        page = _ask(laptop, "shot-plan", one["shot"], "&exact=true").json
        said = run_json("pull", folder, "--shot", one["name"])
        assert [finding["message"] for finding in page["findings"]] == [f["message"] for f in said["findings"]]
        assert page["feasible"] == said["feasible"]
        assert page["moments"][0]["timeS"] == said["samples"][0]["time_s"]
        assert page["lane"].startswith("<svg")


def test_a_shot_on_the_extender_is_planned_and_kept(server: Served) -> None:
    """The tick of the page: T2.8 on the ring of L03 works at T5.6 (2x); kept in the file, and sent back with it."""
    client = _own(server)
    shot = {**WALK, "lens": "L03", "extender_on": True}
    page = _ask(client, "shot-plan", shot).json
    assert page["stop"] == "T5.6 (ring at T2.8)"
    kept = client.post(f"/api/jobs/{job_key(client)}/shots", {"name": "extended", "shot": shot})
    assert kept.status == 200, kept.text
    shots = client.get(f"/api/jobs/{job_key(client)}/shots").json["shots"]
    on = {one["name"]: one["shot"].get("extender_on") for one in shots}
    assert on["extended"] is True
    assert on["quay"] is None
    refused = _ask(client, "shot-plan", {**WALK, "lens": "L12", "extender_on": True}).json["problems"]
    assert "names an extender" in refused[0]


def test_what_cannot_be_planned_is_said(laptop: Client) -> None:
    """No JSON, no shot, a lens without a map, a stop it has not: problems in words, and never a curve."""
    assert _ask(laptop, "shot-plan", [1, 2]).json["problems"]
    changes: list[dict[str, object]] = [
        {"lens": "L21"},
        {"lens": "X"},
        {"stop": "T1"},
        {"people": []},
        {"within": 7},
        {"stop": 2.8},
    ]
    for change in changes:
        answer = _ask(laptop, "shot-plan", {**WALK, **change})
        assert answer.status == 200
        assert answer.json["problems"]
        assert "lane" not in answer.json


def test_a_viewer_plans_and_does_not_keep(viewer: Client) -> None:
    """A device that may only look may try a shot out: nothing is written by that."""
    assert _ask(viewer, "shot-plan", WALK).json["feasible"]
    answer = viewer.post(f"/api/jobs/{job_key(viewer)}/shots", {"name": "mine", "shot": WALK})
    assert answer.status == 403


def test_the_table_has_a_sign_and_a_word(laptop: Client) -> None:
    """Each lens with a map against each stop; those without say why."""
    table = _ask(laptop, "shot-table", WALK).json
    assert len(table["rows"]) == 24
    for row in table["rows"]:
        assert row["refusal"] or len(row["cells"]) == len(table["stops"])
        assert all(cell["sign"] and cell["word"] in {"holds", "soft", "opens no wider"} for cell in row["cells"])
    assert any(row["refusal"] for row in table["rows"])


def test_a_shot_is_kept_and_exported_without_loss(server: Served, tmp_path: Path) -> None:
    """Kept anew, changed and taken out; the folder has it, the other shots stay to the letter, a stop pull too."""
    client = _own(server)
    job = job_key(client)
    made = client.post(f"/api/jobs/{job}/shots", {"name": "door", "shot": WALK})
    assert made.status == 200, made.text
    window = next(one for one in client.get(f"/api/jobs/{job}/shots").json["shots"] if one["name"] == "window")
    changed = {**window["shot"], "title": "To the window"}
    assert (
        client.post(f"/api/jobs/{job}/shots", {"name": "window", "mark": window["mark"], "shot": changed}).status == 200
    )
    export_job(server.book, "Ninety Herons, prep", tmp_path / "out")
    files = read_folder(tmp_path / "out").files
    assert set(files) == {f"shots/{name}.toml" for name in ("door", "quay", "roof", "supper", "window")}
    demo = read_folder(Path(__file__).parents[2] / "src" / "tapehook" / "demo_job").files
    assert files["shots/quay.toml"] == demo["shots/quay.toml"]
    assert "[stop_pull]" in files["shots/window.toml"]
    assert 'title = "To the window"' in files["shots/window.toml"]
    assert run_json("stop-pull", tmp_path / "out", "--shot", "window")
    assert run_json("pull", tmp_path / "out", "--shot", "door")["feasible"]
    gone = client.post(f"/api/jobs/{job}/shots", {"name": "door", "mark": made.json["mark"], "shot": None})
    assert gone.status == 200
    assert "door" not in [one["name"] for one in client.get(f"/api/jobs/{job}/shots").json["shots"]]


def test_who_comes_second_is_refused(server: Served) -> None:
    """A shot kept meanwhile by somebody else is not written over: said, and nothing changes."""
    client = _own(server)
    job = job_key(client)
    first = client.post(f"/api/jobs/{job}/shots", {"name": "door", "shot": WALK})
    assert first.status == 200
    for mark in (None, "0" * 16):
        answer = client.post(f"/api/jobs/{job}/shots", {"name": "door", "mark": mark, "shot": {**WALK, "stop": "T4"}})
        assert answer.status == 422
        assert "somebody has kept another shot" in answer.text
    assert client.get(f"/api/jobs/{job}/shots").json["shots"][0]["shot"]["stop"] == "T2.8"


@pytest.mark.parametrize("name", ["../x", "a/b", ".hidden", "", "x" * 61, "a\0b"])
def test_a_name_is_no_path(editor: Client, name: str) -> None:
    """Names that could lead out of the folder of shots, or are none."""
    assert editor.post(f"/api/jobs/{job_key(editor)}/shots", {"name": name, "shot": WALK}).status == 422


def test_the_pull_card_holds_all_it_needs(laptop: Client) -> None:
    """Marks with feet, metres and ring in the page itself; of a shot that is not there it says so."""
    job = job_key(laptop)
    card = laptop.get(f"/job/{job}/card?shot=window")
    assert card.status == 200
    assert "127.4°" in card.text
    assert "live.js" not in card.text  # nothing that would ask the laptop
    assert laptop.get(f"/job/{job}/card?shot=none").status == 404
    assert laptop.get(f"/job/{job}/shots?shot=%3Cscript%3E").status == 200


def test_nothing_typed_becomes_markup(server: Served) -> None:
    """A name made of markup is text in the picture, on the page and on the card."""
    client = _own(server)
    job = job_key(client)
    evil = "</script><img src=x onerror=alert(1)>"
    shot = {**WALK, "title": evil, "people": [{**WALK["people"][0], "name": evil}]}  # type: ignore[dict-item]
    assert client.post(f"/api/jobs/{job}/shots", {"name": "evil", "shot": shot}).status == 200
    assert "<img" not in _ask(client, "shot-plan", shot).json["lane"]
    for path in (f"/job/{job}/shots?shot=evil", f"/job/{job}/card?shot=evil"):
        text = client.get(path).text
        assert "<img" not in text
        assert text.count("</script>") <= 4
