"""``tapehook book history``: one lens over the years."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.book_options import book_option, json_option, opened, show_rows
from tapehook.cli.console import show_findings, show_json
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, note_written, plain

if TYPE_CHECKING:
    from tapehook.book.history import LensHistory
    from tapehook.book.measuring import Measurement
    from tapehook.book.store import Book
    from tapehook.prep.history import Change

_EXAMPLE = """\b
Example:
  tapehook book history 50417
  tapehook book history 50417 --picture history.svg --json
"""
_HEX = 32


@click.command("history", cls=Command, epilog=_EXAMPLE)
@click.argument("words", cls=Argument, nargs=-1, required=True)
@click.option("--all", "everything", cls=Option, is_flag=True, help="List every reading and test ever written.")
@click.option(
    "--picture", cls=Option, metavar="FILE", callback=folder_path, help="Write how its map drifted as a picture, SVG."
)
@book_option
@json_option
def command(words: tuple[str, ...], everything: bool, picture: Path | None, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """What is known of a lens over the years, and what changed from session to session.

    WORDS must find one lens, as for `tapehook book find`; or it is the id that --json gives. A session is what one job
    measured of it, or one day at the bench.
    """
    from tapehook.book.history import lens_history

    with opened(where) as book:
        history = lens_history(book, lens_named(book, " ".join(words)))
        written = _write_picture(history, picture)
        if written:
            note_written(click.get_current_context())
        if as_json:
            show_json(_as_json(history, written))
        else:
            _show(history, everything=everything)
            if written:
                click.echo(plain(f"The picture is {written}"))


def lens_named(book: "Book", text: str) -> bytes:
    """The one lens that words find, or that an id names. Raises Refusal, with those found when there are several."""
    from tapehook.book.search import find_lenses

    if len(text) == _HEX and all(sign in "0123456789abcdef" for sign in text):
        return bytes.fromhex(text)
    found = find_lenses(book, text, 5)
    best = [one for one in found.lenses if one.slips == found.lenses[0].slips]
    exact = [one for one in best if one.lens.serial == text]
    if len(exact or best) == 1:
        return (exact or best)[0].lens.id
    titles = ", ".join(one.lens.title for one in best)
    said = f"“{text}” finds {'several lenses: ' + titles if best else 'no lens'}; type more of its serial or model"
    raise Refusal([OptionProblem("WORDS", text, "words that find one lens", said)])


def _write_picture(history: "LensHistory", target: Path | None) -> str | None:
    from tapehook.handover.files import write_handover

    if target is None:
        return None
    drawn = history.picture()
    if drawn is None:
        said = "there are no two sessions with a map, so there is nothing to draw"
        raise Refusal([OptionProblem("--picture", str(target), "a lens with two sessions or more", said)])
    write_handover({target.name: drawn.encode()}, target.parent)
    return str(target)


def _show(history: "LensHistory", *, everything: bool) -> None:
    click.echo(plain(history.lens.title))
    if not history.sessions:
        click.echo("Nothing was measured of it yet.")
        return
    show_rows(
        ("session", "body", "readings and tests", "map", "backlash"),
        [
            [
                session.title,
                ", ".join(session.bodies) or "not said",
                str(len(session.measurements)),
                "yes" if prepared.entry.focus_map is not None else "no",
                _backlash(prepared.entry),
            ]
            for session, prepared in zip(history.sessions, history.prepared, strict=True)
        ],
    )
    if len(history.sessions) > 1:
        show_findings(history.findings)
    else:
        click.echo("One session only: there is nothing to compare it with yet.")
    if everything:
        rows = [_row(one, history) for one in history.measurements]
        show_rows(("when", "who", "body", "what", "corrected"), rows)


def _backlash(entry: Any) -> str:  # noqa: ANN401 - a LensPrep
    from tapehook.prep.wording import width_text

    return "not known" if entry.play is None else width_text(abs(entry.play.value), entry.lens)


def _row(one: "Measurement", history: "LensHistory") -> list[str]:
    correction = history.corrections.get(one.id)
    gone = "" if correction is None else f"{correction.reason} ({correction.who}, {correction.written_at[:10]})"
    return [one.when[:16].replace("T", " "), one.who, one.body or "", measured_text(one), gone]


def measured_text(one: "Measurement") -> str:
    """A reading or test in a few words."""
    said = json.loads(one.data)
    unit = "" if one.unit is None else f" {one.unit}"
    if one.kind == "reading":
        return f"{said.get('axis', 'focus')} {said.get('written') or said['value']} at {said['position']:g}{unit}"
    if one.kind == "chart":
        at = f" at {said['position']:g}{unit}" if said.get("position") is not None else ""
        return f"chart {said['chart_distance_m']:g} m{at}"
    if one.kind == "morning":
        return f"morning check {said.get('written') or said['chart_distance_m']} at {said['position']:g}{unit}"
    return f"light T{said['t_stop']:g}: {said['level_stops']:g} stops"


def _as_json(history: "LensHistory", picture: str | None) -> dict[str, Any]:
    return {
        "id": history.lens.id.hex(),
        "title": history.lens.title,
        "serial": history.lens.serial,
        "sessions": [
            {
                "title": session.title,
                "when": session.when,
                "job": session.name if session.job_id else None,
                "unit": session.unit,
                "bodies": list(session.bodies),
                "measurements": len(session.measurements),
                "mapped": prepared.entry.focus_map is not None,
            }
            for session, prepared in zip(history.sessions, history.prepared, strict=True)
        ],
        "changes": [_change(change) for change in history.changes],
        "findings": [finding.as_json() for finding in history.findings],
        "measurements": [_measurement(one, history) for one in history.measurements],
        "picture": picture,
    }


def _change(change: "Change") -> dict[str, Any]:
    from tapehook.prep.as_json import finite

    copy, play, flange = change.copy, change.play, change.flange_m
    return {
        "before": change.before.title,
        "after": change.after.title,
        "stop": copy.stop.text if copy else None,
        "depth_used": finite(copy.after_offset[0]) if copy else None,
        "depth_used_plus_minus": finite(copy.after_offset[1]) if copy else None,
        "distance_m": finite(copy.after_offset[2]) if copy else None,
        "backlash_deg": play[0] if play else None,
        "backlash_plus_minus_deg": play[1] if play else None,
        "flange_um": flange[0] * 1e6 if flange else None,
        "flange_plus_minus_um": flange[1] * 1e6 if flange else None,
        "one_body": change.one_body,
    }


def _measurement(one: "Measurement", history: "LensHistory") -> dict[str, Any]:
    correction = history.corrections.get(one.id)
    temperature_c = json.loads(one.data).get("temperature_c")
    return {
        "id": one.id.hex(),
        "kind": one.kind,
        "text": measured_text(one),
        "when": one.when,
        "written_at": one.written_at,
        "who": one.who,
        "body": one.body,
        "temperature_c": one.temperature_c if temperature_c is None else temperature_c,
        "corrected": correction is not None,
        "corrected_by": correction.new_id.hex() if correction and correction.new_id else None,
        "reason": correction.reason if correction else None,
    }
