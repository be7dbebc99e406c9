"""``tapehook strip-match``: the ready-marked strips a crew owns, held against the lenses of a job."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Problem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.job import Job
    from tapehook.job.ready_strips import ReadyStrip
    from tapehook.prep import Prep
    from tapehook.prep.strip_match import KitMatch, LensMatch, StripFit

_EXAMPLE = """\b
Example:
  tapehook strip-match my-job --strips strips.csv
  tapehook strip-match my-job --strips strips.csv --pins 2 --json
"""
_WIDE_TABLE = 8
"""Strips shown side by side; of more, the table has the best for each lens alone."""


@click.command("strip-match", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option(
    "--strips",
    cls=Option,
    required=True,
    metavar="FILE",
    callback=folder_path,
    help="The strips you own: a table with strip, distance and position, CSV or XLSX (docs: Strips).",
)
@click.option("--lens", "lens_ids", cls=Option, multiple=True, help="Only this lens id; may be given more than once.")
@click.option(
    "--pins",
    cls=Option,
    type=click.IntRange(1, 6),
    default=3,
    help="How many strips to keep at hand at most; 3 if nothing is said.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the match as JSON (docs: Commands).")
def command(folder: Path, strips: Path, lens_ids: tuple[str, ...], pins: int, as_json: bool) -> None:  # noqa: FBT001
    """Ready-marked strips: which fits which lens, and which to keep at hand.

    Each strip is turned to where it sits best on the ring. A strip serves a lens when none of its marks is off by more
    than half the room on one side of the focus.
    """
    from tapehook.prep import prepare
    from tapehook.prep.strip_match import match_strips, strip_match_as_json

    job, owned = _read(folder, strips, lens_ids)
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report, brief=True)
    chosen = tuple(entry for entry in prep.lenses if not lens_ids or entry.lens.id in lens_ids)
    try:
        kit = match_strips(chosen, owned, pins)
    except ValueError as reason:
        raise Refusal([OptionProblem("--pins", str(pins), "fewer strips to choose", str(reason))]) from None
    if as_json:
        show_json(strip_match_as_json(kit))
    else:
        _show(prep, kit)


def _read(folder: Path, strips: Path, lens_ids: Sequence[str]) -> "tuple[Job, tuple[ReadyStrip, ...]]":
    """The job and the strips. Raises Refusal with all that is wrong with both, and with lenses that are not there."""
    from tapehook.job import Job, JobProblems, read_job
    from tapehook.job.ready_strips import read_ready_strips

    job, problems = Job(), list[Problem]()
    owned: tuple[ReadyStrip, ...] = ()
    try:
        job = read_job(folder)
        missing = sorted(set(lens_ids) - {lens.id for lens in job.lenses})
        problems += [OptionProblem("--lens", lens_id, f"the id of a lens in {folder}") for lens_id in missing]
    except JobProblems as found:
        problems += found.problems
    try:
        owned = read_ready_strips(strips)
    except JobProblems as found:
        problems += found.problems
    if problems:
        raise Refusal(problems)
    return job, owned


def _show(prep: "Prep", kit: "KitMatch") -> None:
    """The kit as a table, what the best strip of each lens must not be trusted for, and what to keep at hand."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    wide = len(kit.strip_ids) <= _WIDE_TABLE
    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in (
        "lens",
        "what",
        "best strip",
        "turn",
        "trust it",
        "stop",
        *(kit.strip_ids if wide else ("worst mark",)),
    ):
        table.add_column(plain(heading))
    for lens in kit.lenses:
        shown = [lens.fit(strip_id) for strip_id in kit.strip_ids] if wide else [lens.best]
        entry = prep.lens(lens.lens_id)
        cells = [lens.lens_id, entry.title.rpartition(" · ")[0], *_best(lens, entry.system)]
        cells += [lens.stop.text if lens.stop else "-", *(_worst(fit) for fit in shown)]
        table.add_row(*(Text(plain(cell)) for cell in cells))
    show_table(table)
    if kit.pins:
        few = "strip" if len(kit.pins) == 1 else "strips"
        click.echo(
            plain(
                f"Keep at hand: {few} {', '.join(kit.pins)}. Of {len(kit.lenses)} lenses {len(kit.served)} are served: "
                "no mark off by more than half the room."
            )
        )
    else:
        click.echo("No strip serves any lens: print strips of your own (tapehook strip).")
    click.echo("A turn says nothing of the way a strip runs: see that it runs as the ring does.")


def _best(lens: "LensMatch", system: str) -> list[str]:
    from tapehook.notation import format_distance

    best = lens.best
    if best is None:
        return ["-", "-", f"none: {lens.refusal}"]
    trusted = best.trusted_m()
    if not best.depth_known:
        where = "depth not known"
    elif trusted is None:
        where = "nowhere"
    else:
        near, far = (format_distance(end, "imperial" if system == "imperial" else "metric") for end in trusted)
        whole = trusted == (best.distance_m[0], best.distance_m[-1])
        where = "all over" if whole else f"{near} to {far}"
    return [best.strip_id, f"{round(best.turn.turn_deg, 1) + 0.0:.1f}°", where]


def _worst(fit: "StripFit | None") -> str:
    """The most that a mark of a strip uses, at the stop that stands beside it."""
    from tapehook.prep.wording import percent

    return "-" if fit is None or fit.worst is None else percent(fit.worst)
