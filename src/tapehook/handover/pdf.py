"""The handover as a PDF: a cover, a page for each lens, a page for each camera."""

from collections.abc import Sequence

from tapehook.handover.pdf_data import LONG_JOB, pack_data
from tapehook.handover.typesetting import Paper, TypesettingError, set_pdf
from tapehook.job.signed import SignedOff
from tapehook.prep import Prep

__all__ = ["Paper", "TypesettingError", "render_pdf"]


def render_pdf(prep: Prep, *, paper: Paper | None = None, signed: Sequence[SignedOff] = ()) -> bytes:
    """The PDF of a prepared job; the same ``prep`` and ``signed`` give the same bytes.

    ``paper`` None takes the job's. Tagged for reading aloud (PDF/UA-1), but for jobs of more than ``LONG_JOB`` lenses,
    whose tags would be three quarters of a file too large to send. Raises TypesettingError when the typesetter fails
    or warns.
    """
    return set_pdf("pack.typ", pack_data(prep, paper or prep.job.paper, signed), tagged=len(prep.lenses) <= LONG_JOB)
