"""Files of shots, ``shots/NAME.toml`` of a job folder: found by name and read as TOML, for all who take a part."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.sheets import Sheet, decoded, read_bytes


def shot_names(folder: Path) -> list[str]:
    """The names of the shots of a job folder, sorted."""
    return sorted(path.stem for path in (folder / "shots").glob("*.toml"))


def shot_bytes(folder: Path, name: str) -> tuple[bytes, str]:
    """The bytes of a shot's file and what it is called in a message. Raises JobProblems where there is none."""
    if not name or any(sign in name for sign in "/\\\0") or name.startswith("."):
        raise JobProblems([Problem("shots", None, "name", name, "the name of a shot, without a path")])
    file, path = f"shots/{name}.toml", folder / "shots" / f"{name}.toml"
    if not path.is_file():
        known = ", ".join(shot_names(folder)) or "none yet"
        raise JobProblems([Problem(file, None, None, None, f"a file with the plan of the shot; there are: {known}")])
    return read_bytes(path), file


def shot_texts(folder: Path) -> dict[str, str]:
    """The texts of the shots of a job folder by name. Raises JobProblems for files that are no text."""
    texts, problems = {}, list[Problem]()
    for name in shot_names(folder):
        sheet = Sheet(f"shots/{name}.toml")
        texts[name] = decoded(sheet, read_bytes(folder / sheet.file)) or ""
        problems += sheet.problems
    if problems:
        raise JobProblems(problems)
    return texts


def document_of(data: bytes, file: str) -> dict[str, Any]:
    """The tables in the bytes of a shot's file. Raises JobProblems."""
    sheet = Sheet(file)
    text = decoded(sheet, data)
    if text is None or sheet.problems:
        raise JobProblems(sheet.problems)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as trouble:
        raise JobProblems([Problem(file, None, None, None, f"TOML ({str(trouble)[:80]})")]) from None
    except (ValueError, RecursionError):
        raise JobProblems([Problem(file, None, None, None, "TOML with numbers of ordinary size")]) from None


def is_stop_pull_alone(text: str) -> bool:
    """True for the text of a file that holds a stop pull and no shot around it."""
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError):
        return False
    return set(document) == {"stop_pull"}


def as_floats(value: Any) -> Any:  # noqa: ANN401 - TOML
    """Whole numbers are numbers: TOML keeps the two apart, people do not."""
    if isinstance(value, Mapping):
        return {key: as_floats(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_floats(item) for item in value]
    ordinary = isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**63
    return float(value) if ordinary else value
