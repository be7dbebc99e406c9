"""What all commands share: printing, refusing, progress."""

import json
import sys
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from tapehook.finding import Finding
    from tapehook.prep import Prep

REFUSED = 2
PROGRESS_AFTER_S = 1.0


def show_json(value: object, *, err: bool = False) -> None:
    """Print one JSON value, never NaN or Infinity."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False), err=err)


def plain(text: str) -> str:
    """Text of a file or a person, safe for a terminal: control and direction characters become visible escapes."""
    return "".join(c if unicodedata.category(c) not in {"Cc", "Cf", "Cs"} else f"\\u{ord(c):04x}" for c in text)


def refuse(problems: Sequence[dict[str, Any]], sentences: Sequence[str], *, as_json: bool) -> None:
    """Say everything that is wrong and leave with exit code 2."""
    if as_json:
        show_json({"problems": list(problems)})
    noun = "problem" if len(sentences) == 1 else "problems"
    click.echo(f"{len(sentences)} {noun}, nothing was written:", err=True)
    for sentence in sentences:
        click.echo(f"  {plain(sentence)}", err=True)
    sys.exit(REFUSED)


@contextmanager
def refuse_politely(ctx: click.Context) -> Iterator[None]:
    """Turn what input or disk did wrong into a refusal with exit code 2."""
    from tapehook.notation.errors import NotationError

    try:
        yield
    except NotationError as error:
        raise click.UsageError(plain(str(error)), ctx) from error
    except BrokenPipeError:
        sys.exit(0)  # the reader of our output has seen enough
    except OSError as error:
        where = f" {error.filename}" if error.filename else ""
        refuse([], [f"{error.strerror or error}:{where}"], as_json=False)
    except Exception as error:
        problems = getattr(error, "problems", None)
        if type(error).__name__ != "JobProblems" or problems is None:
            raise
        as_json = "--json" in sys.argv or bool(ctx.meta.get("tapehook.json"))
        refuse([p.as_json() for p in problems], [p.sentence() for p in problems], as_json=as_json)


def note_json(ctx: click.Context, *, as_json: bool) -> None:
    """Remember that this run prints JSON, so that a refusal does too."""
    ctx.meta["tapehook.json"] = as_json


@contextmanager
def progress(what: str, *, quiet: bool) -> Iterator[Any]:
    """A progress callback ``(done, total, name)``; a bar on a terminal once it takes over a second."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    import time

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    task = bar.add_task(what, total=None)
    started = time.monotonic()
    shown = False

    def report(done: int, total: int, _name: str) -> None:
        nonlocal shown
        bar.update(task, completed=done, total=total)
        if not shown and time.monotonic() - started > PROGRESS_AFTER_S:
            shown = True
            bar.start()

    try:
        yield report
    finally:
        if shown:
            bar.stop()


def show_findings(findings: Sequence["Finding"], *, file: IO[str] | None = None) -> None:
    """Findings as a table, worst first: sign, word, what it is about, message and next step."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from tapehook.finding import SIGN

    console = Console(file=file, highlight=False)
    table = Table(box=box.SIMPLE, show_lines=False, pad_edge=False)
    for heading, width in (("finding", 9), ("about", 20), ("what was found, what to do next", None)):
        table.add_column(heading, min_width=width, overflow="fold")
    style = {"fix": "bold red", "watch": "yellow", "info": "dim"}
    for finding in findings:
        mark = Text(f"{SIGN[finding.severity]} {finding.severity}", style=style[finding.severity])
        message = Text(plain(finding.message))
        message.append("\n→ " + plain(finding.next_step), style="dim")
        table.add_row(mark, Text(plain(finding.subject)), message)
    if findings:
        console.print(table)
    else:
        console.print("Nothing found that needs acting on.")


def show_summary(prep: "Prep", written: Sequence[Path]) -> None:
    """How many findings of each kind, and where the handover is."""
    counts = {kind: sum(f.severity == kind for f in prep.findings) for kind in ("fix", "watch", "info")}
    click.echo(
        f"{len(prep.lenses)} lenses: {counts['fix']} to fix, {counts['watch']} to watch, {counts['info']} for info."
    )
    for path in written:
        click.echo(f"  {path}")
