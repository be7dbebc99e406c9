"""What all commands share: printing and progress."""

import io
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import click

from tapehook.cli.refusals import json_text, plain

if TYPE_CHECKING:
    from rich.table import Table

    from tapehook.finding import Finding
    from tapehook.prep import Prep

PROGRESS_AFTER_S = 1.0
MOST_FINDINGS = 60
"""Findings on the screen, worst first; a person reads no more there."""
MOST_NAMED = 40
"""Lenses named on the screen as good enough."""
NOT_READ = {
    "map.no_close_focus": "close focus not read",
    "map.no_infinity": "infinity not read",
    "map.one_way": "one way only",
}
"""What a lens that is good between its marks still lacks, by the finding that says so."""


def speak_any_encoding() -> None:
    """Let signs that the terminal's encoding lacks be printed as escapes, instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def show_json(value: object) -> None:
    """Print one JSON value."""
    click.echo(json_text(value))


def show_table(table: "Table") -> None:
    """Print a table, plain where it goes to a file or a pipe."""
    from rich.console import Console

    with io.StringIO() as text:
        console = Console(file=text, highlight=False, force_terminal=_is_terminal(sys.stdout), legacy_windows=False)
        console.print(table)
        # By click, so that a reader of the pipe who leaves ends the command as everywhere else.
        click.echo(text.getvalue(), nl=False)


def show_rows(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A plain table: what stands in its cells is text, whatever it looks like."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in headings:
        table.add_column(heading)
    for row in rows:
        table.add_row(*(Text(plain(cell)) for cell in row))
    show_table(table)


def _is_terminal(stream: IO[str] | None) -> bool:
    """True when a person is looking; a program started without streams has None."""
    return stream is not None and stream.isatty()


@contextmanager
def progress(what: str, *, quiet: bool) -> Iterator[Any]:
    """A progress callback ``(done, total, name)``; a bar on a terminal once it takes over a second."""
    if quiet or not _is_terminal(sys.stderr):
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


@contextmanager
def waiting(what: str, *, quiet: bool) -> Iterator[None]:
    """Says on a terminal what is being done, where how far it is cannot be told; gone when it is done."""
    if quiet or not _is_terminal(sys.stderr):
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(what, spinner="line"):
        yield


def show_findings(findings: Sequence["Finding"]) -> None:
    """Findings as a table, worst first: sign, word, what it is about, message and next step."""
    if not findings:
        click.echo("Nothing found that needs acting on.")
        return
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from tapehook.finding import SIGN

    table = Table(box=box.SIMPLE, show_lines=False, pad_edge=False)
    for heading, width in (("finding", 9), ("about", 20), ("what was found, what to do next", None)):
        table.add_column(heading, min_width=width, overflow="fold")
    style = {"fix": "bold red", "watch": "yellow", "info": "dim"}
    for finding in findings[:MOST_FINDINGS]:
        mark = Text(f"{SIGN[finding.severity]} {finding.severity}", style=style[finding.severity])
        message = Text(plain(finding.message))
        message.append("\n→ " + plain(finding.next_step), style="dim")
        table.add_row(mark, Text(plain(finding.subject)), message)
    show_table(table)
    if len(findings) > MOST_FINDINGS:
        click.echo(f"{len(findings) - MOST_FINDINGS} more, no worse than these; --json has them all.\n")


def _good(prep: "Prep") -> list[str]:
    """Lenses with nothing to fix whose depth used is good, the most used first; spaces that may not break are hard.

    The share is that between the marks: what lies beyond, or was read one way only, stands beside it.
    """
    bad = {finding.lens_id for finding in prep.findings if finding.severity == "fix"}
    but = [(finding.lens_id, NOT_READ[finding.code]) for finding in prep.findings if finding.code in NOT_READ]
    limits = {lens_id: f" ({' and '.join(text for one, text in but if one == lens_id)})" for lens_id, _ in but}
    found = [
        (
            finding.figure.value,
            (
                f"{plain(finding.lens_id)} {finding.figure.value:.0f} % at {finding.figure.stop}"
                f"{limits.get(finding.lens_id, '')}"
            ),
        )
        for finding in prep.findings
        if finding.code == "budget.good" and finding.figure and finding.lens_id and finding.lens_id not in bad
    ]
    return [text.replace(" ", "\xa0") for _, text in sorted(found, key=lambda one: -one[0])]


def show_summary(prep: "Prep", written: Sequence[Path]) -> None:
    """Which lenses are good enough, how many findings of each kind, and where the handover is."""
    if good := _good(prep):
        more = f" and {len(good) - MOST_NAMED} more" if len(good) > MOST_NAMED else ""
        said = f"Good enough, by the depth the lens itself uses: {', '.join(good[:MOST_NAMED])}{more}."
        click.echo(click.wrap_text(said, 80, "", "  ").replace("\xa0", " "))
    count = "1 lens" if len(prep.lenses) == 1 else f"{len(prep.lenses)} lenses"
    counts = {kind: sum(f.severity == kind for f in prep.findings) for kind in ("fix", "watch", "info")}
    click.echo(f"{count}: {counts['fix']} to fix, {counts['watch']} to watch, {counts['info']} for info.")
    for path in written:
        click.echo(f"  {plain(str(path))}")
    show_unprintable(prep)


def show_unprintable(prep: "Prep") -> None:
    """Names in signs the font of the PDF lacks, as two such lenses could not be told apart on paper."""
    from tapehook.handover.glyphs import MISSING, printable

    named = [one.lens.id for one in prep.lenses if MISSING in printable(f"{one.lens.id} {one.title}")]
    if named:
        more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
        click.echo(
            f"The PDF cannot print all signs in the names of {plain(', '.join(named[:MOST_NAMED]))}{more}: boxes stand "
            "there. Give them labels in Latin, Greek or Cyrillic letters; the pocket page shows all."
        )
