"""Setting a PDF: a fixed template and, beside it, the data as JSON; no text of a job is ever source.

The same data give the same bytes: the date in the file is a fixed one, and only our own fonts are used.
"""

import json
import re
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from tapehook.handover.glyphs import FONTS

if TYPE_CHECKING:
    import typst

Paper = Literal["a4", "us-letter"]

_HERE = Path(__file__).parent


class TypesettingError(RuntimeError):
    """The typesetter could not set a page as it should be: a fault of tapehook, not of the job."""


def set_pdf(
    template: str,
    data: dict[str, Any],
    *,
    tagged: bool,
    then: Sequence[str] = (),
    files: Mapping[str, bytes] = MappingProxyType({}),
) -> bytes:
    """The PDF that ``template``, a file of this package, makes of ``data``, which must be plain JSON values.

    ``then`` are further files, each of which goes on where the one before ends. The template may read ``files``, by
    their names, and no other file.

    ``tagged`` for reading aloud (PDF/UA-1). Raises TypesettingError when the typesetter fails or warns.
    """
    import typst

    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)])
    with tempfile.TemporaryDirectory(prefix="tapehook-") as folder:
        for name, content in files.items():
            (Path(folder) / name).write_bytes(content)
        compiler = typst.Compiler(
            b"\n".join((_HERE / name).read_bytes() for name in (template, *then)),
            root=folder,
            font_paths=fonts,
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data, allow_nan=False)},
        )
        return _compiled(compiler, tagged=tagged)


def _compiled(compiler: "typst.Compiler", *, tagged: bool) -> bytes:
    import typst

    try:
        made, warnings = compiler.compile_with_warnings(
            format="pdf", pdf_standards=["ua-1"] if tagged else [], pdf_tags=tagged, timestamp=0
        )
    except typst.TypstError as error:
        raise TypesettingError(f"the PDF could not be set: {error.message}") from error
    if warnings or not isinstance(made, bytes):
        raise TypesettingError("the PDF was set with warnings: " + "; ".join(w.message for w in warnings))
    return made


def set_picture(folder: Path, kind: str, *, upright: bool, long_px: int) -> bytes:
    """The picture in the file ``photo`` of ``folder``, "jpg" or "png", as a PNG with ``long_px`` on its long side.

    Which way it is held (Exif) is followed. ``upright`` for one that is higher than wide. Raises TypesettingError when
    it cannot be unpacked.
    """
    import typst

    side = "height" if upright else "width"
    source = (
        "#set page(width: auto, height: auto, margin: 0pt, fill: white)\n"
        f'#image("photo", format: "{kind}", {side}: 100pt, alt: "photo")'
    )
    compiler = typst.Compiler(source.encode(), root=str(folder), ignore_system_fonts=True)
    try:
        made = compiler.compile(format="png", ppi=72.0 * long_px / 100.0)
    except typst.TypstError as error:
        raise TypesettingError(f"the picture cannot be unpacked: {error.message}") from error
    if not isinstance(made, bytes):
        raise TypesettingError("the picture came out as several")
    return made


def unscaled(pdf: bytes) -> bytes:
    """The PDF with the wish to be printed at its own size: /PrintScaling /None among the viewer preferences.

    Appended as an incremental update: a new catalogue that takes the place of the old one. Source: ISO 32000-1, 7.5.6
    and 12.2. Raises TypesettingError when the catalogue is not as our typesetter writes it.
    """
    start, trailer = _last(rb"startxref\s+(\d+)", pdf), _last(rb"trailer\s*<<(.*?)>>\s*startxref", pdf)
    root = _last(rb"/Root (\d+) 0 R", trailer)
    catalogue = _last(rb"\n" + root + rb" 0 obj\s*(<<.*?>>)\s*endobj", pdf)
    wish = b"/PrintScaling/None"
    if b"/ViewerPreferences<<" in catalogue:
        changed = catalogue.replace(b"/ViewerPreferences<<", b"/ViewerPreferences<<" + wish, 1)
    else:
        changed = catalogue.replace(b"<<", b"<</ViewerPreferences<<" + wish + b">>", 1)
    body = pdf + b"\n"
    at = len(body)
    body += root + b" 0 obj\n" + changed + b"\nendobj\n"
    table = len(body)
    entry = b"xref\n" + root + b" 1\n" + f"{at:010d}".encode() + b" 00000 n\r\n"
    return (
        body
        + entry
        + b"trailer\n<<"
        + trailer
        + b"/Prev "
        + start
        + b">>\nstartxref\n"
        + str(table).encode()
        + b"\n%%EOF"
    )


def _last(pattern: bytes, data: bytes) -> bytes:
    """The group of the last match."""
    found = re.findall(pattern, data, re.DOTALL)
    if not found:
        raise TypesettingError("the PDF has not the form that is expected of the typesetter")
    last: bytes = found[-1]
    return last
