"""Setting a PDF: a fixed template and, beside it, the data as JSON; no text of a job is ever source.

The same data give the same bytes: the date in the file is a fixed one, and only our own fonts are used.
"""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

from tapehook.handover.glyphs import FONTS

Paper = Literal["a4", "us-letter"]

_HERE = Path(__file__).parent


class TypesettingError(RuntimeError):
    """The typesetter could not set a page as it should be: a fault of tapehook, not of the job."""


def set_pdf(template: str, data: dict[str, Any], *, tagged: bool, then: Sequence[str] = ()) -> bytes:
    """The PDF that ``template``, a file of this package, makes of ``data``, which must be plain JSON values.

    ``then`` are further files, each of which goes on where the one before ends.

    ``tagged`` for reading aloud (PDF/UA-1). Raises TypesettingError when the typesetter fails or warns.
    """
    import typst

    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)])
    compiler = typst.Compiler(
        b"\n".join((_HERE / name).read_bytes() for name in (template, *then)),
        font_paths=fonts,
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, allow_nan=False)},
    )
    try:
        made, warnings = compiler.compile_with_warnings(
            format="pdf", pdf_standards=["ua-1"] if tagged else [], pdf_tags=tagged, timestamp=0
        )
    except typst.TypstError as error:
        raise TypesettingError(f"the PDF could not be set: {error.message}") from error
    if warnings or not isinstance(made, bytes):
        raise TypesettingError("the PDF was set with warnings: " + "; ".join(w.message for w in warnings))
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
