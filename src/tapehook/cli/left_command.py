"""``tapehook left``: what is left to test on the whole kit, and what to do first with the minutes there are."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, folder_path, plain

if TYPE_CHECKING:
    from tapehook.prep import Prep
    from tapehook.prep.minutes_left import OpenTest

_EXAMPLE = """\b
Example:
  tapehook left my-job --minutes 30
  tapehook left my-job --json
"""
SHOWN = 20
"""Tests in the table; all stand in the JSON."""


@click.command("left", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option(
    "--minutes", cls=Option, type=click.FloatRange(0.5, 10_000), help="Only what fits into so many minutes: 30."
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(folder: Path, minutes: float | None, as_json: bool) -> None:  # noqa: FBT001 - click passes options by name
    """What is left to test on the whole kit, the most depth won per minute first.

    Shares are of the depth at the stop the job is shot at. Below the table stands what nobody has tested, by name.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.minutes_left import left_as_json, open_tests

    job = read_job(folder)
    with progress("preparing", quiet=as_json) as report:
        prep = prepare(job, report, brief=True)
    tests = open_tests(prep, minutes)
    if as_json:
        show_json(left_as_json(tests, prep))
    else:
        _show(tests, prep)


def _show(tests: "Sequence[OpenTest]", prep: "Prep") -> None:
    from tapehook.prep.minutes_left import not_tested

    if tests:
        _show_tests(tests[:SHOWN])
        left = len(tests) - SHOWN
        more = f" The table shows the first {SHOWN}; --json lists all." if left > 0 else ""
        click.echo(plain(f"{sum(test.minutes for test in tests):.0f} minutes in all, {len(tests)} tests.{more}"))
    else:
        click.echo("Nothing is left that would win any depth in that time.")
    for what, ids in not_tested(prep):
        click.echo(plain(f"{what}: {', '.join(ids) if ids else 'all lenses'}."))


def _show_tests(tests: "Sequence[OpenTest]") -> None:
    from rich import box
    from rich.table import Table

    from tapehook.prep.wording import percent

    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in ("lens", "what to do", "minutes", "depth used", "then"):
        table.add_column(heading)
    for test in tests:
        usual = " (usual)" if test.assumed else ""
        before = "no map" if test.kind == "map" else f"{percent(test.used_before)} at {test.stop}{usual}"
        cells = (test.lens_id, test.what, f"{test.minutes:g}", before, percent(test.used_after))
        table.add_row(*(plain(cell) for cell in cells))
    show_table(table)
