"""The import contracts catch what they are for: each breach is planted in a bare copy of the house."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
LAYERS = ("cli", "pages", "handover", "prep", "job", "picture", "shot", "lens", "optics", "notation", "finding")


def _build_house(folder: Path) -> None:
    """A house with all its rooms and nothing in them."""
    for name in ("", *LAYERS):
        room = folder / "tapehook" / name
        room.mkdir(parents=True, exist_ok=True)
        (room / "__init__.py").write_text("", encoding="utf-8")


def _check(folder: Path) -> tuple[int, str]:
    """Run the project's own contracts on the house in ``folder``: exit code and what was printed."""
    command = [sys.executable, "-c", "import importlinter.cli as c; c.lint_imports_command()", "--no-cache"]
    done = subprocess.run(
        [*command, str(ROOT / "pyproject.toml")],
        cwd=folder,
        env={"PYTHONPATH": f"{folder}:{ROOT}", "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def test_empty_house_keeps_the_contracts(tmp_path: Path) -> None:
    """Without a breach all contracts are kept, so what fails below fails for its breach alone."""
    _build_house(tmp_path)
    code, said = _check(tmp_path)
    assert (code, "0 broken" in said) == (0, True), said


@pytest.mark.parametrize(
    "room, line, complaint",
    [
        pytest.param("lens", "import tapehook.prep", "tapehook.lens is not allowed to import", id="upward"),
        pytest.param("job", "import tapehook.picture", "tapehook.job is not allowed to import", id="sideways"),
        pytest.param("optics", "import openpyxl", "tapehook.optics may not import openpyxl", id="library"),
        pytest.param("lens", "from pydantic import BaseModel", "may not import pydantic", id="records"),
        pytest.param("shot", "from pathlib import Path", "tapehook.shot may not import pathlib", id="files"),
        pytest.param("prep", "import datetime", "tapehook.prep may not import datetime", id="clock"),
        pytest.param("prep", "import tapehook.handover", "tapehook.prep is not allowed to import", id="shell"),
        pytest.param("picture", "import scipy", "tapehook.picture may not import scipy", id="picture"),
        pytest.param("notation", "import numpy, typst", "tapehook.notation may not import typst", id="notation"),
        pytest.param("finding", "import tapehook.notation", "is not allowed to import", id="siblings"),
        pytest.param("cellar", "", "tapehook.cellar", id="room nobody planned"),
    ],
)
def test_planted_breach_is_caught(tmp_path: Path, room: str, line: str, complaint: str) -> None:
    """One line in the wrong place, or a package no layer names, fails the check and is named."""
    _build_house(tmp_path)
    (tmp_path / "tapehook" / room).mkdir(exist_ok=True)
    (tmp_path / "tapehook" / room / "__init__.py").write_text(f"{line}\n", encoding="utf-8")
    code, said = _check(tmp_path)
    assert code == 1, said
    assert complaint in " ".join(said.split())
