"""Refusals: everything at once, in one shape, with nothing in it that a terminal would obey."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.jobs import LENSES, readings, write_small_job
from tests.cli.running import refused, run
from tests.cli.shapes import misfits, schema, strictly

# Turns text red, clears the screen, sets a title, reverses direction, breaks the line, C1 control sequence, a tag
# outside the first plane; an invisible space.
HOSTILE = "\x1b[31m\x1b[2J\x1b]0;x\x07\u202e\u2028\x9b1m\U000e0041\u200b"
LOOKS = ("\\x1b[31m", "<U+001B>[31m")


def problems_of(*args: str | Path) -> list[dict[str, Any]]:
    """The problems as --json prints them, their shape checked; the sentences on standard error are the same."""
    result = run(*args, "--json")
    assert result.exit_code == 2
    shown = strictly(result.stdout)
    assert list(misfits(shown, schema("problems"))) == []
    found: list[dict[str, Any]] = shown["problems"]
    sentences = [line.strip() for line in result.stderr.splitlines() if line.startswith("  ")]
    assert sentences == [problem["sentence"] for problem in found]
    return found


def assert_harmless(text: str) -> None:
    """Nothing in ``text`` but line ends and what shows as itself."""
    assert [line for line in text.split("\n") if not line.isprintable()] == []


def test_all_problems_of_a_folder_are_told_at_once(tmp_path: Path) -> None:
    """Each with file, row, column, what was read and what was expected."""
    folder = write_small_job(
        tmp_path / "job",
        lenses=LENSES.replace("N50,50,1.5", "N50,fifty,f/1.5"),
        readings=readings().replace("N50,0.7 m", "N51,5 6"),
        job='units = "miles"\npaper = 4\n',
    )
    found = problems_of("map", folder)
    places = {(problem["file"], problem["row"], problem["field"], problem["read"]) for problem in found}
    assert places == {
        ("job.toml", None, "units", "miles"),
        ("job.toml", None, "paper", "4"),
        ("lenses.csv", 2, "focal_mm", "fifty"),
        ("lenses.csv", 2, "t_stop", "f/1.5"),
        ("readings.csv", 4, "lens_id", "N51"),
        ("readings.csv", 4, "distance_text", "5 6"),
        ("readings.csv", 5, "lens_id", "N51"),
        ("readings.csv", 5, "distance_text", "5 6"),
    }
    assert all(problem["expected"] for problem in found)
    assert refused("map", folder) == [problem["sentence"] for problem in found]


def test_an_eye_that_sees_no_detail_is_refused(tmp_path: Path) -> None:
    """An arc of a right angle and more would make the largest blur endless, or less than nothing."""
    for arcminutes, refusal in ((600, 0), (601, 1), (5400, 1), (1e9, 1)):
        criterion = f'[criterion]\nname = "viewing"\narcminutes = {arcminutes}\n'
        result = run("map", write_small_job(tmp_path / str(arcminutes), job=criterion))
        assert result.stderr.count("job.toml, criterion.arcminutes: ") == refusal
        assert refusal == 0 or "at most 600" in result.stderr


@pytest.mark.parametrize("what", ["nowhere", "a file", "empty"])
def test_what_is_no_job_folder_is_refused(tmp_path: Path, what: str) -> None:
    """A path that leads nowhere, to a file, or to an empty folder."""
    path = tmp_path / "job"
    if what == "a file":
        path.write_text("no folder")
    if what == "empty":
        path.mkdir()
    sentences = refused("map", path)
    if what == "empty":
        assert [sentence.partition(":")[0] for sentence in sentences] == ["lenses.csv", "readings.csv"]
    else:
        assert sentences[0].startswith(f"{path}: expected a job folder")


def test_a_wrong_option_is_told_in_json_as_a_wrong_cell_is(tmp_path: Path) -> None:
    """One shape for all that is wrong; the field is the option."""
    args = ("depth", "--focal", "50mm", "--distance", "7", "--pupil-to-sensor", "41mm")
    by_field = {problem["field"]: problem for problem in problems_of(*args)}
    assert by_field.keys() == {"--distance", "--stop", "--pupil-magnification"}
    assert by_field["--distance"] == {
        "file": None,
        "row": None,
        "field": "--distance",
        "read": "7",
        "expected": "a distance with its unit, such as 1.68 m, 5'6\" or inf",
        "sentence": "--distance: “7” has no unit and could mean 7 m or 7 ft; expected a distance with its unit, "
        "such as 1.68 m, 5'6\" or inf",
    }
    assert [p["field"] for p in problems_of("prep", "--paper", "a3")] == ["--paper", "FOLDER", "--out"]
    assert [p["field"] for p in problems_of("map", tmp_path, "--lense", "L1")] == ["--lense"]


def test_json_is_printed_only_where_it_was_asked_for() -> None:
    """After "--" everything is an argument, also what looks like an option."""
    assert run("map", "--", "--json").stdout == ""


@pytest.mark.parametrize(
    "args",
    [
        pytest.param([HOSTILE], id="command"),
        pytest.param([f"--{HOSTILE}"], id="option of the whole"),
        pytest.param(["depth", f"--{HOSTILE}"], id="option"),
        pytest.param(["depth", HOSTILE], id="argument"),
        pytest.param(["depth", "--focal", HOSTILE, "--distance", HOSTILE, "--stop", HOSTILE], id="notations"),
        pytest.param(["depth", "--units", HOSTILE], id="word"),
        pytest.param(["prep", HOSTILE, "--out", HOSTILE, "--paper", HOSTILE], id="paper"),
        pytest.param(["map", HOSTILE], id="folder"),
        pytest.param(["map", "a\0b"], id="folder with a NUL"),
        pytest.param(["map", ""], id="folder without a name"),
        pytest.param(["map", "x" * 5_000], id="folder with too long a name"),
        pytest.param(["map", "\udcff\udcfe"], id="folder of no text"),
    ],
)
def test_hostile_text_typed_never_reaches_the_terminal(args: list[str]) -> None:
    """Control and direction characters come out as escapes, on both outputs, with --json and without."""
    for more in ([], ["--json"]):
        result = run(*args, *more)
        assert result.exit_code == 2
        assert_harmless(result.stdout)
        assert_harmless(result.stderr)
        assert HOSTILE not in args or any(escape in result.stderr for escape in LOOKS)
    strictly(result.stdout or "null")


def test_hostile_text_of_a_folder_never_reaches_the_terminal(tmp_path: Path) -> None:
    """Neither from cells that are wrong, nor from those that are right: titles, serials, written distances, ids."""
    quiet = HOSTILE.replace("\x1b", "").replace("\x07", "").replace("\x9b", "")
    bad = write_small_job(tmp_path / "bad", readings=readings().replace("0.7 m", quiet).replace("N50", quiet))
    for more in ([], ["--json"]):
        result = run("map", bad, *more)
        assert result.exit_code == 2
        assert_harmless(result.stdout + result.stderr)
    good = write_small_job(
        tmp_path / f"good{quiet}",
        lenses=LENSES.replace("4711", quiet).replace("N50", f"{quiet}1"),
        readings=readings().replace("N50", f"{quiet}1"),
        job=f'title = "{quiet}"\n',
    )
    for more in ([], ["--json"], ["--lens", quiet]):
        result = run("map", good, *more, width=400)
        assert result.exit_code == (2 if "--lens" in more else 0)
        assert_harmless(result.stdout + result.stderr)
        assert "\\u202e" in result.stdout + result.stderr
    assert f"{quiet}1" in strictly(run("map", good, "--json").stdout)["lenses"]


def test_long_texts_are_shortened() -> None:
    """A pasted page does not fill the screen."""
    (sentence,) = refused("depth", "--focal", "50mm", "--stop", "T2", "--distance", "7'" * 5_000)
    assert len(sentence) < 300
    (sentence,) = refused("prep", "x", "--out", "y", "--paper", f"a4{'x' * 5_000}letter")
    assert len(sentence) < 300
    assert sentence.startswith('--paper: read "a4x')
    assert sentence.endswith('xletter", expected a4 or us-letter')


def test_the_same_trouble_in_many_rows_is_said_once(tmp_path: Path) -> None:
    """With the first row in full, the others as stretches; in JSON each row stays a problem of its own."""
    (tmp_path / "lenses.csv").write_text("id,unit\nL1,deg\n", encoding="utf-8")
    rows = [f"L{2 if row in {4, 5, 6, 9} else 1},{row} m,{10 * row}" for row in range(2, 12)]
    readings = "\n".join(["lens_id,distance_text,position", *rows, "L1,by the door,7"])
    (tmp_path / "readings.csv").write_text(readings, encoding="utf-8")
    assert refused("map", tmp_path) == [
        'readings.csv row 4, lens_id: read "L2", expected the id of a lens of the job; the same in 3 more rows: 5-6, 9',
        'readings.csv row 12, distance_text: read "by the door", expected a distance such as 1.68 m or 5\'6"',
    ]
    assert len(json.loads(run("map", tmp_path, "--json").stdout)["problems"]) == 5
