"""Setting a PDF: a fixed template and, beside it, the data as JSON; no text of a job is ever source.

The same data give the same bytes: the date in the file is a fixed one, and only our own fonts are used.
"""

import json
from pathlib import Path
from typing import Any, Literal

from tapehook.handover.glyphs import FONTS

Paper = Literal["a4", "us-letter"]

_HERE = Path(__file__).parent


class TypesettingError(RuntimeError):
    """The typesetter could not set a page as it should be: a fault of tapehook, not of the job."""


def set_pdf(template: str, data: dict[str, Any], *, tagged: bool) -> bytes:
    """The PDF that ``template``, a file of this package, makes of ``data``, which must be plain JSON values.

    ``tagged`` for reading aloud (PDF/UA-1). Raises TypesettingError when the typesetter fails or warns.
    """
    import typst

    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)])
    compiler = typst.Compiler(
        (_HERE / template).read_bytes(),
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
