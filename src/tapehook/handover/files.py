"""The files of a handover: all rendered before the first is written, each put in place whole."""

import json
import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tapehook.job.replacing import replace_all
from tapehook.job.signed import SignedOff
from tapehook.prep import Prep, prep_as_json

if TYPE_CHECKING:
    from tapehook.handover.pack import PackStrips, PackWish


def render_handover(prep: Prep, paper: str | None = None, signed: Sequence[SignedOff] = ()) -> dict[str, bytes]:
    """Every file of the handover by name: the PDF, the pocket page, the tables, and the findings as JSON.

    Equal bytes for equal input. ``paper`` is "a4" or "us-letter"; None takes the job's. ``signed`` stands on the cover.
    """
    from tapehook.handover.pdf import render_pdf
    from tapehook.handover.pocket import render_pocket
    from tapehook.handover.tables import render_tables

    as_json = json.dumps(prep_as_json(prep), indent=2, ensure_ascii=False, allow_nan=False)
    chosen = prep.job.paper if paper is None else paper
    return {
        "handover.pdf": render_pdf(prep, paper="us-letter" if chosen == "us-letter" else "a4", signed=signed),
        "pocket.html": render_pocket(prep).encode(),
        **{name: text.encode() for name, text in render_tables(prep).items()},
        "prep.json": as_json.encode() + b"\n",
    }


def render_full_handover(prep: Prep, wish: "PackWish") -> tuple[dict[str, bytes], "PackStrips"]:
    """Every file of the full handover by name, and the strips in it; equal bytes for equal input.

    The PDF with the sheets for those who take over and the strips, the pocket page, each table as CSV and all of them
    as one workbook, and the findings as JSON.
    """
    from tapehook.handover.pack import pack_strips, render_pack
    from tapehook.handover.pack_tables import pack_tables
    from tapehook.handover.pocket import render_pocket
    from tapehook.handover.tables import table_text
    from tapehook.handover.workbook import workbook

    strips = pack_strips(prep, wish)
    tables = pack_tables(prep, strips.made, wish.shots)
    as_json = json.dumps(prep_as_json(prep), indent=2, ensure_ascii=False, allow_nan=False)
    files = {
        "handover.pdf": render_pack(prep, wish, strips),
        "pocket.html": render_pocket(prep, {one.lens_id: one for one in strips.made}).encode(),
        **{f"{name}.csv": table_text(header, rows).encode() for name, (header, rows) in tables.items()},
        "tables.xlsx": workbook(tables),
        "prep.json": as_json.encode() + b"\n",
    }
    return files, strips


def render_handover_file(
    prep: Prep, name: str, paper: str | None = None, signed: Sequence[SignedOff] = ()
) -> bytes | None:
    """One file of the handover, the others left unmade; None when the handover has none of that name."""
    from tapehook.handover.pdf import render_pdf
    from tapehook.handover.pocket import render_pocket

    if name == "handover.pdf":
        chosen = prep.job.paper if paper is None else paper
        return render_pdf(prep, paper="us-letter" if chosen == "us-letter" else "a4", signed=signed)
    if name == "pocket.html":
        return render_pocket(prep).encode()
    return render_handover(prep, paper, signed).get(name)


def check_target(folder: Path) -> None:
    """Raise NotADirectoryError or PermissionError when ``folder`` cannot be written to, before any work is done."""
    for path in (folder, *folder.parents):
        if not path.exists():
            continue
        if not path.is_dir():
            raise NotADirectoryError(20, "the place to write to is a file, expected a folder", str(path))
        if not os.access(path, os.W_OK | os.X_OK):
            raise PermissionError(13, "no permission to write to this folder", str(path))
        return


def write_handover(rendered: dict[str, bytes], folder: Path) -> list[Path]:
    """Write the files into ``folder``, made if need be; returns their paths.

    All are on the disk under other names first, so that a full disk or a power cut leaves an older handover as it was.
    Raises OSError that names the folder.
    """
    try:
        replace_all(folder, rendered)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(folder)) from error
    return [folder / name for name in rendered]


def copy_job_folder(source: Path, target: Path) -> Path:
    """Copy a job folder for somebody to edit; one that is already there is left alone, edits and all."""
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
    return target
