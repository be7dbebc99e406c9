"""``tapehook twins``: copies of one model, how they differ, and which may borrow a map."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, folder_path, plain

if TYPE_CHECKING:
    from tapehook.prep import LensPrep, Prep
    from tapehook.prep.results import BorrowedPrep, CopyPrep, TwinsPrep

_EXAMPLE = """\b
Example:
  tapehook twins my-job
  tapehook twins my-job --json
"""


@click.command("twins", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the twins as JSON (docs: Commands).")
def command(folder: Path, as_json: bool) -> None:  # noqa: FBT001
    """Copies of one model: how they differ, and which may borrow a map.

    A lens with two or more proof marks may borrow the map of its twin. Beside it stand the share of the depth that this
    uses at its widest stop, and the stop from which on that is under a quarter.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.as_json import twins_as_json
    from tapehook.prep.twins import all_twins

    job = read_job(folder)
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report, brief=True)
    twins = all_twins(prep)
    if as_json:
        show_json(twins_as_json(prep, twins))
    else:
        _show(prep, twins)


def _show(prep: "Prep", twins: "TwinsPrep") -> None:
    """Who may borrow from whom, how the copies with maps of their own differ, and what that rests on."""
    from tapehook.prep.twin_findings import spread_sentence

    if not twins.borrowed:
        click.echo("No two copies of one model with a map to lend. Name twins in the column twin_of of lenses.csv.")
        return
    headings = ["lens", "lender", "proof marks", "depth used", "under a quarter", "own map"]
    show_rows(headings, [_borrowed(found) for found in twins.borrowed])
    if twins.copies:
        headings = ["copy", "against", "index off", "as they stand", "index set", "most at"]
        entries = {entry.lens.id: entry for entry in prep.lenses}
        show_rows(headings, [_copy(entries[found.lens_id], found) for found in twins.copies])
    click.echo(plain(spread_sentence(twins.spread)))


def _borrowed(found: "BorrowedPrep") -> list[str]:
    from tapehook.prep.wording import percent

    used, where = "-", "-"
    if found.refusal is not None:
        used = f"refused: {found.refusal}"
    elif found.used_p95 is None or found.stop is None:
        used = "not known"
    else:
        used = f"{percent(found.used_p95)} at {found.stop.text}"
        where = f"from {found.safe_from.text} on" if found.safe_from else "at no stop"
    own = "yes" if found.own_map else "no"
    return [found.lens_id, found.lender_id, str(found.proof_marks), used, where, own]


def _copy(entry: "LensPrep", found: "CopyPrep") -> list[str]:
    from tapehook.notation import format_distance
    from tapehook.prep.twin_findings import offset_text
    from tapehook.prep.wording import percent

    shares = [
        f"{percent(share)} +- {percent(half)} at {found.stop.text}"
        for share, half, _ in (found.as_it_stands, found.after_offset)
    ]
    most = format_distance(found.after_offset[2], entry.system)
    return [found.lens_id, found.lender_id, offset_text(found, entry.lens), *shares, most]
