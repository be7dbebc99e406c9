"""The history of one lens: every session of it, what changed between them, and the picture of that."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tapehook.book.lenses import BookLens, lenses_of
from tapehook.book.measuring import Correction, Measurement, corrections_of, of_lenses, replacements, standing
from tapehook.book.sessions import LENS, Session, sessions_in
from tapehook.book.store import Book
from tapehook.book.trouble import refusal
from tapehook.finding import Finding
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.history_chart import SessionCurve, history_chart
from tapehook.prep import prepare
from tapehook.prep.history import Change, SessionPrep, changes_of, drift_curves, history_findings


@dataclass(frozen=True, slots=True)
class LensHistory:
    """What is known of a lens over the years, oldest first.

    ``measurements`` are all ever written, those corrected since among them; ``corrections`` by the id of the
    measurement they name.
    """

    lens: BookLens
    sessions: tuple[Session, ...]
    prepared: tuple[SessionPrep, ...]
    changes: tuple[Change, ...]
    findings: tuple[Finding, ...]
    measurements: tuple[Measurement, ...]
    corrections: Mapping[bytes, Correction]

    def picture(self, width: float = 480.0, height: float = 220.0, theme: Theme = PAPER) -> str | None:
        """Earlier maps against the newest, as SVG; None where there are no two maps to compare."""
        curves = drift_curves(self.prepared)
        if not curves:
            return None
        newest = [one for one in self.prepared if one.entry.focus_map is not None][-1]
        shown = [
            SessionCurve(one.title, one.distance_m.tolist(), one.share.tolist(), one.half_width.tolist())
            for one in curves
        ]
        return history_chart(
            shown,
            newest=newest.title,
            stop_text=curves[-1].stop.text,
            system=newest.entry.system,
            width=width,
            height=height,
            title=f"How the map of {self.lens.title} drifted",
            theme=theme,
        )


def lens_history(book: Book, lens_id: bytes) -> LensHistory:
    """Everything ever written of a lens, and what changed. Raises BookRefusal when there is no such lens."""
    with book.reading() as connection:
        lens = lenses_of(connection, [lens_id]).get(lens_id)
        if lens is None:
            raise refusal(book.name, "there is no such lens in it", "a lens of the book")
        everything = sorted(of_lenses(connection, lens.ids), key=lambda one: one.id)
        corrections = corrections_of(connection, lens.ids)
        sessions = sessions_in(connection, standing(everything, corrections))
    prepared = tuple(_prepared(lens, session) for session in sessions)
    changes = changes_of(prepared)
    findings = tuple(replace(one, subject=lens.title, lens_id=None) for one in history_findings(changes))
    return LensHistory(lens, tuple(sessions), prepared, changes, findings, tuple(everything), replacements(corrections))


def _prepared(lens: BookLens, session: Session) -> SessionPrep:
    prep = prepare(session.as_job(lens), brief=True)
    return SessionPrep(session.title, prep.lens(LENS), session.bodies)
