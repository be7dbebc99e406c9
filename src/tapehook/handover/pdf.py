"""The handover as a PDF: a cover, a page for each lens, a page for each camera.

The typesetter gets a fixed template and, beside it, the job as JSON: no text of a job is ever source. The same
``prep`` gives the same bytes: the date in the file is a fixed one, and only our own fonts are used.
"""

import json
from pathlib import Path
from typing import Literal

from tapehook.handover.glyphs import FONTS
from tapehook.handover.pdf_data import LONG_JOB, pack_data
from tapehook.prep import Prep

Paper = Literal["a4", "us-letter"]

_TEMPLATE = Path(__file__).parent / "pack.typ"


class TypesettingError(RuntimeError):
    """The typesetter could not set the pack as it should be: a fault of tapehook, not of the job."""


def render_pdf(prep: Prep, *, paper: Paper | None = None) -> bytes:
    """The PDF of a prepared job.

    ``paper`` None takes the job's. Tagged for reading aloud (PDF/UA-1), but for jobs of more than ``LONG_JOB`` lenses,
    whose tags would be three quarters of a file too large to send. Raises TypesettingError when the typesetter fails
    or warns.
    """
    import typst

    data = pack_data(prep, paper or prep.job.paper)
    tagged = len(prep.lenses) <= LONG_JOB
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)])
    compiler = typst.Compiler(
        _TEMPLATE.read_bytes(),
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
