"""The handover as a PDF: a cover, a page for each lens, a page for each camera."""

from collections.abc import Sequence

from tapehook.handover.compacting import compacted
from tapehook.handover.pdf_data import pack_data
from tapehook.handover.typesetting import Paper, TypesettingError, set_pdf
from tapehook.job.signed import SignedOff
from tapehook.prep import Prep

__all__ = ["Paper", "TypesettingError", "render_pdf"]


def render_pdf(prep: Prep, *, paper: Paper | None = None, signed: Sequence[SignedOff] = ()) -> bytes:
    """The PDF of a prepared job; the same ``prep`` and ``signed`` give the same bytes.

    ``paper`` None takes the job's. Tagged for reading aloud (PDF/UA-1). Raises TypesettingError when the typesetter
    fails or warns.
    """
    return compacted(set_pdf("pack.typ", pack_data(prep, paper or prep.job.paper, signed), tagged=True))
