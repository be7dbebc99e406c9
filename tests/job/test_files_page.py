"""The page on file formats says what the code does: columns, keys, limits and examples are held against it."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from tapehook.job import job_schema, read_job
from tapehook.job.cells import Known
from tapehook.job.columns import TABLES, Table
from tapehook.job.problems import MOST_PER_FILE, Problem
from tapehook.job.schema import schema_text
from tapehook.job.sheets import LONGEST_CELL, MOST_BYTES, MOST_COLUMNS, MOST_ROWS
from tapehook.job.tomlfile import read_job_toml
from tapehook.job.workbook import MOST_UNPACKED_BYTES

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "files.md").read_text(encoding="utf-8")
SCHEMA = ROOT / "src" / "tapehook" / "job" / "job.schema.json"


def section(heading: str) -> str:
    """The text under a heading of the page."""
    return re.split(r"^## ", PAGE.split(f"\n## {heading}\n")[1], flags=re.MULTILINE)[0]


def rows(heading: str) -> list[list[str]]:
    """The cells of the table under a heading, its head left out, code marks taken off."""
    lines = [line for line in section(heading).splitlines() if line.startswith("|")]
    return [[cell.strip().strip("`") for cell in line.strip("|").split(" | ")] for line in lines[2:]]


def blocks(language: str) -> list[str]:
    """The examples in a language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_each_column_is_on_the_page(table: Table) -> None:
    """Name, unit, example and need of all columns, in the order of the code, and a sentence on each."""
    told = rows(table.name)

    assert [[c.name, c.unit, c.example, c.need] for c in table.columns] == [row[:4] for row in told]
    assert [row[0] for row in told if not row[4].endswith(".")] == []


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_each_example_can_be_read(table: Table) -> None:
    """What the page shows in a column is what the column takes."""
    for column in table.columns:
        if column.read is not None:
            assert column.read(column.example, Known()) is not None


def test_each_key_is_on_the_page() -> None:
    """All keys of the schema, with its examples and its words."""
    schema = job_schema()
    told = {}
    for name, node in schema["properties"].items():
        inner = node.get("items", node).get("$ref")
        if inner is None:
            told[name] = [json.dumps(node["examples"][0]), node["description"]]
            continue
        for key, field in schema["$defs"][inner.rsplit("/", 1)[1]]["properties"].items():
            told[f"{name}.{key}"] = [json.dumps(field["examples"][0]), field["description"]]

    assert told == {key: [example, words] for key, example, words in rows("job.toml")}
    for name, node in schema["properties"].items():
        for word in node.get("enum", ()):
            assert f"`{word}`" in section("job.toml"), name


def test_the_limits_are_those_of_the_code() -> None:
    """Sizes on the page are the sizes at which files are refused."""
    limits = next(line for line in section("How tables are read").splitlines() if "**Limits**" in line)

    assert [f"{MOST_BYTES // 10**6} MB", f"{MOST_UNPACKED_BYTES // 10**6} MB", f"{MOST_ROWS:,} rows"] == re.findall(
        r"[\d,]+ (?:MB|rows)", limits
    )
    assert [f"{MOST_COLUMNS} columns", f"{LONGEST_CELL:,} characters"] == re.findall(
        r"[\d,]+ (?:columns|characters)", limits
    )
    assert f"at most {MOST_PER_FILE:,} problems" in PAGE


def test_the_small_job_is_a_job(tmp_path: Path) -> None:
    """The example can be copied and works, with `job.toml` and without."""
    for name, text in zip(("lenses", "readings"), blocks("csv"), strict=True):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    without = read_job(tmp_path)
    (tmp_path / "job.toml").write_text(blocks("toml")[0], encoding="utf-8")
    job = read_job(tmp_path)

    assert (len(without.lenses), len(without.readings)) == (2, 6)
    assert (job.title, job.units, job.shooting_stop) == ("Harbour, unit 1", "imperial", "T2.8")
    assert without.readings == job.readings


def test_the_example_of_a_problem_is_one() -> None:
    """The message on the page is what the code says."""
    problem = Problem("readings.csv", 7, "position", "12O.5", "a number of degrees such as 131.8")

    assert [problem.sentence() + "\n"] == blocks("text")


def test_the_shipped_schema_is_the_generated_one() -> None:
    """`job.schema.json` is what `tapehook.job.schema.schema_text()` gives; when not, write that into it."""
    assert schema_text() == SCHEMA.read_text(encoding="utf-8")


def test_the_schema_is_a_schema_and_takes_the_examples() -> None:
    """It is valid by its own standard, and the TOML on the page and in the demo job is valid by it."""
    Draft202012Validator.check_schema(job_schema())
    demo = (ROOT / "src" / "tapehook" / "demo_job" / "job.toml").read_text(encoding="utf-8")
    for text in (*blocks("toml"), demo, ""):
        assert list(Draft202012Validator(job_schema()).iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    "text",
    [
        "title = 5",
        "paper = 'a5'",
        "cameras = 3",
        "[[cameras]]\nname = 'no letter'",
        "[[cameras]]\nletter = 'A B'",
        "[[cameras]]\nletter = 'A'\nsensor_width_mm = -1",
        "[criterion]\ncoc_mm = '0.025'",
        "[[motors]]\nid = 'M1'\nlag_ms = true",
    ],
)
def test_the_schema_and_the_reader_refuse_the_same(text: str) -> None:
    """What the reader refuses for its type or limit, an editor with the schema refuses too."""
    problems: list[Problem] = []

    assert read_job_toml(text.encode(), problems) is None
    assert problems
    assert list(Draft202012Validator(job_schema()).iter_errors(tomllib.loads(text)))
