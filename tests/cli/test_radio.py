"""``tapehook radio`` on the demo job: the documented shape, plans kept and judged, safety texts, and refusals."""

import ast
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from tapehook.job import read_job
from tapehook.prep.radio import plan_radio
from tapehook.prep.radio_findings import radio_findings
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

SOURCE = ROOT / "src" / "tapehook"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A copy of the demo job."""
    return Path(shutil.copytree(SOURCE / "demo_job", tmp_path / "job"))


def change(job: Path, old: str, new: str) -> None:
    """Replace text in job.toml."""
    path = job / "job.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_the_shape_is_the_documented_one(job: Path) -> None:
    """Every key, and the plan of the demo is proven with three channels of their own."""
    shape = run_json("radio", job)
    assert list(misfits(shape, schema("radio"))) == []
    assert shape["status"] == "proven"
    assert shape["worst_margin_db"] == min(one["margin_db"] for one in shape["networks"].values())
    assert shape["worst_margin_db"] <= shape["bound_db"]
    assert len({one["centre_mhz"] for one in shape["networks"].values()}) == 3


def test_a_plan_printed_can_be_kept_and_judged(job: Path) -> None:
    """Kept with nothing changed, nobody moves; judged, the margins are those planned."""
    first = run("radio", job, "--json").stdout
    plan = job / "plan.json"
    plan.write_text(first, encoding="utf-8")
    kept, judged = run_json("radio", job, "--keep", plan), run_json("radio", job, "--judge", plan)
    assert kept["moved"] == []
    assert kept["networks"] == json.loads(first)["networks"] == judged["networks"]
    assert list(misfits(judged, schema("radio"))) == []


def test_a_bad_plan_is_judged_with_what_is_wrong(job: Path) -> None:
    """Two cameras on one channel are to fix, a channel that is not offered too, and nothing is changed."""
    plan = job / "plan.json"
    networks = {letter: {"band": "2450", "channel": 15} for letter in "AB"} | {"C": {"band": "915", "channel": 3}}
    plan.write_text(json.dumps({"networks": networks}), encoding="utf-8")
    shape = run_json("radio", job, "--judge", plan)
    assert {one["code"] for one in shape["findings"] if one["severity"] == "fix"} >= {
        "radio-co-channel",
        "radio-not-allowed",
        "radio-margin",
    }
    assert [one["channel"] for one in shape["networks"].values()] == [15, 15, 3]


def test_a_link_that_talks_all_the_time_is_refused_868(job: Path) -> None:
    """Without listening first, 868 MHz is left out with its reason and source, and without any channel it is told."""
    change(job, 'bands = ["2450", "868"]\nlistens = true', 'bands = ["868"]')
    shape = run_json("radio", job)
    assert shape["status"] == "infeasible"
    assert shape["without"] == ["C"]
    (why,) = [one["message"] for one in shape["findings"] if one["code"] == "radio-refused"]
    assert "1 % of the time" in why
    assert "IR 2030" in why


def test_fired_effects_bring_the_list_and_the_caution_everywhere(job: Path) -> None:
    """On the terminal and in JSON; without them neither stands there."""
    assert "supervisor" not in " ".join(run_json("radio", job)["cautions"])
    change(job, 'region = "GB"', 'region = "GB"\nfired_effects = true')
    shape = run_json("radio", job)
    assert any("special-effects supervisor" in sentence for sentence in shape["cautions"])
    assert any(one["code"] == "radio-fired-effects" for one in shape["findings"])
    assert [one["id"] for one in shape["transmitters"]] == ["hand unit A", "hand unit B", "hand unit C"]
    text = run("radio", job, width=100).stdout
    assert "special-effects supervisor" in text
    assert text.count("hand-held") == 3


def test_no_text_holds_a_distance_for_igniters() -> None:
    """Each text of the program that speaks of fired effects: no length in it, and nothing called safe."""
    words = re.compile(r"igniter|detonator|squib|fired effects|electro-explosive|blasting", re.IGNORECASE)
    distance = re.compile(r"\d\s*(m|metres?|ft|feet|yards?|cm|km)\b", re.IGNORECASE)
    found = 0
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and words.search(node.value):
                found += 1
                assert not distance.search(node.value), (path, node.value)
                assert not re.search(r"safe (at|beyond|from) ", node.value), (path, node.value)
    assert found >= 3


def test_no_page_paper_or_script_holds_a_distance_for_igniters() -> None:
    """Templates, scripts, paper, the demo and the documentation: no sentence on effects has a length in it."""
    words = re.compile(r"igniter|detonator|squib|fired effects|electro-explosive|blasting", re.IGNORECASE)
    distance = re.compile(r"\d\s*(m|metres?|ft|feet|yards?|cm|km)\b", re.IGNORECASE)
    found = 0
    for folder in (SOURCE, ROOT / "docs"):
        for path in folder.rglob("*"):
            if path.suffix not in {".html", ".js", ".typ", ".toml", ".md", ".json", ".css"}:
                continue
            for part in re.split(r"\n\s*\n|\n[-|]", path.read_text(encoding="utf-8")):
                sentences = [one for one in re.split(r"(?<=[.!?])\s", part) if words.search(one)]
                found += len(sentences)
                assert not [one for one in sentences if distance.search(one)], path
    assert found >= 5


def test_what_is_printed_with_effects_holds_no_distance_beside_them(job: Path) -> None:
    """Sentences on effects, of every finding and caution, carry no length at all."""
    change(job, 'region = "GB"', 'region = "GB"\nfired_effects = true')
    shape = run_json("radio", job)
    said = [*shape["cautions"], *(f"{one['message']} {one['next_step']}" for one in shape["findings"])]
    effects = [one for one in said if re.search("effects|electro-explosive|detonator", one)]
    assert len(effects) >= 3
    assert not [one for one in effects if re.search(r"\d\s*(m|ft|cm|km)\b", one)]


@pytest.mark.parametrize(
    "old, new, said",
    [
        ('region = "GB"', 'region = "Atlantis"', "region"),
        ('bands = ["2450", "868"]', 'bands = ["2450", "900"]', "radios[3].bands[1]"),
        ("wifi_channel = 6\n", "", "emitters[1].centre_mhz"),
        ("y_m = 10\n", "", "emitters[1].x_m"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_words(job: Path, old: str, new: str, said: str) -> None:
    """File, key, what was read, what was expected."""
    change(job, old, new)
    (sentence,) = refused("radio", job)
    assert sentence.startswith("job.toml")
    assert said.replace("[1]", "") in sentence.replace("[1]", "").replace("[2]", "")


@pytest.mark.parametrize(
    "text, said",
    [
        ("{", "plan as JSON"),
        ("[]", "networks"),
        ('{"networks": {"A": {"band": "2450", "channel": "x"}}}', "networks.A.channel"),
        ('{"networks": {"A": {"band": "2450", "channel": 99}}}', "networks.A.channel"),
        ('{"networks": {"Q": {"band": "2450", "channel": 15}}}', "networks.Q"),
        ('{"networks": {"A": 3}}', "networks.A.band"),
    ],
)
def test_a_plan_that_cannot_be_read_is_refused(job: Path, text: str, said: str) -> None:
    """The file and the key are named."""
    (job / "plan.json").write_text(text, encoding="utf-8")
    for option in ("--keep", "--judge"):
        (sentence,) = refused("radio", job, option, job / "plan.json")
        assert sentence.startswith("plan.json")
        assert said in sentence


def test_keep_and_judge_go_not_together(job: Path) -> None:
    """One or the other."""
    assert refused("radio", job, "--keep", "x.json", "--judge", "y.json")


def test_what_was_assumed_is_said(job: Path) -> None:
    """The demo gives no power and no places of radios: both are named as assumed."""
    said = " ".join(plan_radio(read_job(job)).assumptions)
    assert "10 dBm" in said
    assert "Where no place is given" in said


def test_a_frequency_taken_moves_as_few_as_it_must(job: Path) -> None:
    """The channel of one camera goes: that one moves, the others keep theirs, and the channel is refused with why."""
    before = run_json("radio", job)
    lost = before["networks"]["B"]
    plan = job / "plan.json"
    plan.write_text(json.dumps(before), encoding="utf-8")
    taken = f"{lost['centre_mhz']:g}"
    for kept in ((), ("--keep", plan)):
        after = run_json("radio", job, "--taken", taken, *kept)
        assert list(misfits(after, schema("radio"))) == []
        assert after["moved"] == ["B"]
        assert after["kept"]
        assert after["taken"] == [{"low_mhz": lost["centre_mhz"], "high_mhz": lost["centre_mhz"]}]
        assert after["networks"]["B"]["channel"] != lost["channel"]
        for letter in "AC":
            assert after["networks"][letter]["channel"] == before["networks"][letter]["channel"]
        assert any("is taken by somebody else" in one["message"] for one in after["findings"])
        (said,) = [one["message"] for one in after["findings"] if one["code"] == "radio-moved"]
        assert f"({taken} MHz) for channel {after['networks']['B']['channel']} at" in said
    gone = run_json("radio", job, "--taken", "2400-2483.5", "--taken", "868")
    assert gone["status"] == "infeasible"
    assert gone["without"] == ["A", "B", "C"]


@pytest.mark.parametrize("text", ["", "x", "2450-2440", "-5", "1e3", "9999999", "2450-", "2450 GHz"])
def test_what_is_no_stretch_of_spectrum_is_refused(job: Path, text: str) -> None:
    """With what was read and what was expected; all of several at once."""
    (sentence,) = refused("radio", job, f"--taken={text}")
    assert "such as 2450" in sentence
    assert len(refused("radio", job, f"--taken={text}", "--taken=also wrong")) == 2


def test_a_scan_counts_and_is_told(job: Path) -> None:
    """Loud from 2400 to 2475 MHz: cameras at 2450 MHz go above it, links say what it eats, and it is assumed."""
    scan = job / "scan.csv"
    lines = [f"{2400 + 0.5 * k},{-60 if k < 150 else -120}" for k in range(168)]
    scan.write_text("MHz,dBm\n" + "\n".join(lines), encoding="utf-8")
    shape = run_json("radio", job, "--scan", scan)
    assert list(misfits(shape, schema("radio"))) == []
    high = [one for one in shape["networks"].values() if one["band"] == "2450"]
    assert any(one["centre_mhz"] > 2475 for one in high)
    assert all(one["heard_dbm"] is not None for one in high)
    assert any(eater["name"] == "scan" for one in high for link in one["links"] for eater in link["eaten_by"])
    assert any("scan" in one for one in shape["assumptions"])
    scan.write_text("nonsense", encoding="utf-8")
    (sentence,) = refused("radio", job, "--scan", scan)
    assert sentence.startswith("scan.csv")


def test_the_engine_is_named_only_where_it_is_missing(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan not proven: with the engine installed nobody is told to install it."""
    prep = plan_radio(read_job(job))
    bound = replace(prep, plan=replace(prep.plan, status="bound"))
    for there in (True, False):
        monkeypatch.setattr("tapehook.prep.radio_findings.installed", lambda there=there: there)
        (found,) = [one for one in radio_findings(bound) if one.code == "radio-bound"]
        assert ("Install" in found.next_step) != there


def test_with_effects_on_the_call_no_figure_of_exposure_is_given(job: Path) -> None:
    """A share at a distance could be read as one for igniters."""
    assert any(one["code"] == "radio-exposure" for one in run_json("radio", job)["findings"])
    change(job, 'region = "GB"', 'region = "GB"\nfired_effects = true')
    assert not any(one["code"] == "radio-exposure" for one in run_json("radio", job)["findings"])


def test_the_sheets_are_written_where_they_are_wanted(job: Path) -> None:
    """A PDF at the path, beside the JSON; a path that cannot be written is refused and nothing is written."""
    out = job / "radio.pdf"
    assert run_json("radio", job, "--out", out)["status"] == "proven"
    assert out.read_bytes().startswith(b"%PDF")
    assert refused("radio", job, "--out", job)
