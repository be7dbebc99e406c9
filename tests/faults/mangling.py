"""Job folders with something wrong with them, as hands, programs, disks and the odd enemy leave them.

``mangled_folders()`` starts from a small sound job and applies up to three kinds of damage to its files. Each
kind is a function of the bytes of a file, two numbers that say where, and a text to put there, so that a
failing case shrinks to few and simple damages.
"""

import io
import os
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from hypothesis import strategies as st

LENSES = (
    "id,kind,focal_mm,t_stop,transmission,rises_toward,engraved_in,unit,reading_step,twin_of,close_focus_m,"
    "camera,colour\n"
    "L1,prime,50,T1.5,0.9,near,metric,deg,0.1,,0.55 m,A,red\n"
    "L2,zoom,24-75 mm,2.8,85 %,far,feet,count,1,L1,2',A B,\n"
    'L3,,35,1.3 ,,,,percent,0.05,L1,,"B","two, words"\n'
)
READINGS = (
    "lens_id,axis,mark_no,distance_text,distance_m,value,position,approach,method,temperature_c\n"
    "L1,focus,1,0.55 m,0.55,,301.5,near_to_far,engraved,21.5\n"
    "L1,focus,2,1.68 m,1.68,,131.8°,near_to_far,taped,\n"
    "L1,,2,1.68 m,1.68,,131.9,far_to_near,taped,\n"
    "L1,,3,inf,inf,,12.5,,,\n"
    'L2,focus,1,"5\'6""",,,25551,,engraved,\n'
    "L2,iris,,,,T2.8,120,,,\n"
    "L2,zoom,,,,35 mm,4512,,,\n"
    "L3,,,7',2.1336,,45.2 %,,,-5\n"
)
CHARTS = (
    "lens_id,chart_distance,position,approach,t_stop,camera,focal_mm,chart_width,frame_fill\n"
    "L1,1.69 m,130.1,near_to_far,1.5,A,,400 mm,45 %\n"
    'L2,"5\'6""",25500,,,B,24,,\n'
)
TSTOPS = "lens_id,t_stop,level_stops,focal_mm\nL1,T1.5,-0.1,\nL2,2.8,0.05,24 mm\n"
MORNING = (
    "lens_id,date,distance,position,approach,camera,temperature_c,note\n"
    "L1,2026-11-26,1.69 m,130.1,near_to_far,A,-2.5,frost\n"
    'L2,,inf,25500,,B,,"two, words"\n'
)
JOB = (
    'title = "Harbour"\nregion = "GB"\nunits = "metric"\nshooting_stop = "T2.8"\npaper = "a4"\n'
    'unit_no = 1\n[criterion]\nname = "fixed"\ncoc_mm = 0.025\n'
    '[[cameras]]\nletter = "A"\nsensor_width_mm = 24.89\n[[cameras]]\nletter = "B"\n'
    '[[motors]]\nid = "M1"\ncamera = "A"\naxis = "focus"\nlag_ms = 21\n[[radios]]\nid = "R1"\ncamera = "B"\n'
)

AWKWARD = (
    "", " ", "0", "-1", "1e999", "1e-320", "nan", "inf", "-inf", "∞", "5 6", "5'6", "1,680", "1.680,5", "12O.5", "½",
    "٣", "T", "f/2", "100 %", "250 %", "=1+1", "'", '"', '""', "\n", "\r", "\0", "\x1b", "\u202e", "\ufeff", "\ud7ff",
    "🎥", "L1", "l1", "L9", "id", "position", "true", "2026-11-05", "[", "{", "=", "#", "'''", '"""', "\\", "\\u0000",
    "]]", "1979-05-27T07:32:00Z", "0x7fffffffffffffffff", "9" * 400, "x" * 300, ";", "\t", ",", "a.b.c.d",
    "[criterion]\n", "units = 3\n", "letter = []\n", "lens_id", "Lens ID", "Position (deg)", "C" * 40_000, "[" * 2_000,
    "[[cameras]]", "a." * 2_000 + "b = 1\n",
)  # fmt: skip
"""Texts that have upset readers of such files before, here or elsewhere."""

ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1", "cp1252", "cp037", "utf-7")

Damage = Callable[[bytes, int, int, str], bytes]
Odd = str
"""Something else than a file of that name: "folder", "loop", "nowhere" (a link to nothing) or "pipe"."""


@dataclass(frozen=True)
class Folder:
    """A job folder to be: bytes by file name, or something odd in the place of a file."""

    files: Mapping[str, bytes | Odd]

    def write(self, folder: Path) -> None:
        """Make the folder's files in ``folder``, which exists and is empty."""
        for name, content in self.files.items():
            path = folder / name
            if isinstance(content, bytes):
                path.write_bytes(content)
            elif content == "folder":
                path.mkdir()
            elif content == "pipe":
                os.mkfifo(path)
            else:
                path.symlink_to(name if content == "loop" else "nowhere")


def contents(folder: Path) -> dict[str, bytes | str]:
    """All that is in a folder, by name: the bytes of files, and what the rest is."""
    found: dict[str, bytes | str] = {}
    for path in sorted(folder.iterdir()):
        if path.is_symlink():
            found[path.name] = f"link to {path.readlink()}"
        else:
            found[path.name] = path.read_bytes() if path.is_file() else "no file"
    return found


# --- damages: bytes, two numbers from 0 to 65,535 that say where, and a text ------------------------------------


def _at(data: bytes, place: int) -> int:
    return place * len(data) >> 16


def change_byte(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001 - one form for all
    """One byte is another."""
    at = _at(data, place)
    return data[:at] + bytes([other & 255]) + data[at + 1 :]


def insert_text(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """A text stands where it should not."""
    at = _at(data, place)
    return data[:at] + text.encode("utf-8", "surrogatepass") + data[at:]


def cut_out(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """A piece is missing, or all from there on."""
    at = _at(data, place)
    return data[:at] + (data[at + other % 40 :] if other % 2 else b"")


def double(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """A piece stands twice."""
    at, end = sorted((_at(data, place), _at(data, other)))
    return data[:end] + data[at:end] + data[end:]


def swap(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """Two neighbouring pieces have changed places."""
    at, end = sorted((_at(data, place), _at(data, other)))
    middle = (at + end) // 2
    return data[:at] + data[middle:end] + data[at:middle] + data[end:]


def encode(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """The text is in another encoding."""
    return data.decode("utf-8", "replace").encode(ENCODINGS[place % len(ENCODINGS)], "replace")


def change_cell(data: bytes, place: int, other: int, text: str) -> bytes:
    """One cell, or one value of TOML, is another text."""
    lines = data.split(b"\n")
    row = place * len(lines) >> 16
    separator = b" = " if b" = " in lines[row] else b","
    cells = lines[row].split(separator)
    cells[other % len(cells)] = text.encode("utf-8", "surrogatepass")
    lines[row] = separator.join(cells)
    return b"\n".join(lines)


def swap_cells(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """Two cells of the table have changed places."""
    cells = data.replace(b"\n", b",\n,").split(b",")
    a, b = place * len(cells) >> 16, other * len(cells) >> 16
    cells[a], cells[b] = cells[b], cells[a]
    return b",".join(cells).replace(b",\n,", b"\n")


def swap_rows(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """Two rows have changed places, the header perhaps."""
    lines = data.split(b"\n")
    a, b = place * len(lines) >> 16, other * len(lines) >> 16
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def separate(data: bytes, place: int, other: int, text: str) -> bytes:  # noqa: ARG001
    """Another separator, with decimal commas or without, and another line end."""
    separated = data.replace(b",", (b";", b"\t", b"|")[place % 3])
    separated = separated.replace(b".", b",") if other % 2 else separated
    return separated.replace(b"\n", (b"\r\n", b"\r", b"\n\n", b",,,\n")[other % 4])


def damage_part(data: bytes, place: int, other: int, text: str) -> bytes:
    """One part of a workbook is damaged, and the zip around it is whole."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = {part.filename: archive.read(part) for part in archive.infolist()}
    except (EOFError, LookupError, OSError, RuntimeError, ValueError, zipfile.BadZipFile, zlib.error):
        return data  # damaged before
    if not parts:
        return data
    name = sorted(parts)[other % len(parts)]
    kind = (change_byte, insert_text, cut_out, double, swap)[place % 5]
    parts[name] = kind(parts[name], place * 31 & 0xFFFF, other * 17 & 0xFFFF, text)
    return _zipped(parts)


TEXT_DAMAGES: tuple[Damage, ...] = (
    change_byte, insert_text, cut_out, double, swap, encode, change_cell, change_cell, swap_cells, swap_rows, separate,
)  # fmt: skip
WORKBOOK_DAMAGES: tuple[Damage, ...] = (change_byte, insert_text, cut_out, damage_part, damage_part, damage_part)


# --- sound folders to start from --------------------------------------------------------------------------------


def _zipped(parts: Mapping[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(zipfile.ZipInfo(name), part)
    return stream.getvalue()


@cache
def workbook(table: str) -> bytes:
    """A CSV text as a workbook, its numbers typed."""
    import csv

    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for cells in csv.reader(io.StringIO(table)):
        sheet.append([float(cell) if cell.replace(".", "", 1).isdigit() else cell or None for cell in cells])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def sound_folder(*, workbooks: bool) -> dict[str, bytes | Odd]:
    """The files of a sound job, its tables as text or as workbooks."""
    tables = {"lenses": LENSES, "readings": READINGS, "charts": CHARTS, "tstops": TSTOPS, "morning": MORNING}
    if workbooks:
        return {f"{name}.xlsx": workbook(table) for name, table in tables.items()}
    return {**{f"{name}.csv": table.encode() for name, table in tables.items()}, "job.toml": JOB.encode()}


_places = st.integers(0, 65_535)
_damages = st.tuples(st.integers(0, 99), _places, _places, st.sampled_from(AWKWARD))
_happenings = st.sampled_from(["none"] * 12 + ["missing", "renamed", "swapped", "odd"])


@st.composite
def mangled_folders(draw: st.DrawFn) -> Folder:
    """A job folder with up to three damages to its files, and at times a file missing, renamed or no file at all."""
    workbooks = draw(st.integers(0, 7)) == 5  # not 0, which Hypothesis is fond of: workbooks are slow
    files = sound_folder(workbooks=workbooks)
    kinds = WORKBOOK_DAMAGES if workbooks else TEXT_DAMAGES
    for which, place, other, text in draw(st.lists(_damages, min_size=1, max_size=3)):
        name = sorted(files)[which % len(files)]
        data = files[name]
        if isinstance(data, bytes):
            files[name] = kinds[(which * 7 + place) % len(kinds)](data, place, other, text)
    happening = draw(_happenings)
    if happening != "none":
        _happen(files, happening, draw(_places))
    return Folder(files)


def _happen(files: dict[str, bytes | Odd], happening: str, place: int) -> None:
    """Something happens to a whole file."""
    names = sorted(files)
    name, other = names[place % len(names)], names[place // 7 % len(names)]
    match happening:
        case "missing":
            del files[name]
        case "renamed":
            files[name.replace(".csv", ".xlsx") if ".csv" in name else name.upper()] = files[name]
        case "swapped":
            files[name], files[other] = files[other], files[name]
        case "odd":
            files[name] = ("folder", "loop", "nowhere", "pipe")[place % 4]
