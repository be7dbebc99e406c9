"""``tapehook flange``: what chart tests say of lenses and bodies."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, folder_path, plain

if TYPE_CHECKING:
    from tapehook.prep import Prep
    from tapehook.prep.results import BodyFlange, LensFlange

_EXAMPLE = """\b
Example:
  tapehook flange my-job
  tapehook flange my-job --json
"""


@click.command("flange", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the flange as JSON (docs: Commands).")
def command(folder: Path, as_json: bool) -> None:  # noqa: FBT001
    """Flange, scale or tape: what best focus on charts says.

    Of every lens with chart tests in charts.csv, and of every body named there: where the sensor lies against the lens,
    what is off, whose fault it is, and the test to make next where the charts cannot tell.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.as_json import flanges_as_json

    job = read_job(folder)
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report, brief=True)
    if as_json:
        show_json(flanges_as_json(prep))
    else:
        _show(prep)


def _show(prep: "Prep") -> None:
    """The lenses, then the bodies, then what to do about each."""
    flanges = prep.flanges
    if not flanges.lenses:
        click.echo("No chart tests. Write best focus on charts into charts.csv: lens_id, chart_distance_m, position.")
        return
    show_rows(["lens", "tests", "sensor", "depth used", "cause"], [_lens(prep, one) for one in flanges.lenses])
    if flanges.bodies:
        show_rows(["body", "lenses", "sensor"], [_body(one) for one in flanges.bodies])
    for one in flanges.lenses:
        if one.next_test:
            click.echo(plain(f"{one.lens_id}: {one.next_test}"))
    click.echo("+- is a 95 % interval. A shim is a lens technician's work.")


_WORDS = {
    "flange": "flange",
    "scale": "scale",
    "tape_offset": "tape",
    "fine": "nothing off",
    "cannot_tell": "cannot tell",
}


def _lens(prep: "Prep", one: "LensFlange") -> list[str]:
    from tapehook.prep.flange_findings import flange_used, shift_text
    from tapehook.prep.results import FlangePrep
    from tapehook.prep.wording import percent

    entry = prep.lens(one.lens_id)
    found = entry.flange
    if not isinstance(found, FlangePrep) or one.flange_m is None or one.sd_m is None:
        return [one.lens_id, "0", "-", "-", _WORDS[one.cause]]
    where = shift_text(one.flange_m, one.sd_m) + (", with its body" if one.together else "")
    used = f"{percent(flange_used(one.flange_m, entry, found.stop))} at {found.stop.text}"
    return [one.lens_id, str(len(found.tests)), where, used, _WORDS[one.cause]]


def _body(one: "BodyFlange") -> list[str]:
    from tapehook.prep.flange_findings import shift_text

    return [f"camera {one.letter}", str(len(one.lens_ids)), shift_text(one.flange_m, one.sd_m)]
