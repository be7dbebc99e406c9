"""What was signed off on a job: kept by the book, printed by the handover, no part of a job folder."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SignedOff:
    """One check that somebody signed off: of a lens (its id in the job), of a camera, or of the job as a whole.

    ``at`` is the moment in UTC as ISO 8601 writes it. ``since`` is true when the lens was measured again afterwards,
    so that the signature is for what was known before.
    """

    check: str
    by: str
    at: str
    lens_id: str | None = None
    camera: str | None = None
    note: str = ""
    outcome: str = "good"
    since: bool = False
