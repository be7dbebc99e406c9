"""``tapehook stop-pull``: the stop changes in shot, the exposure stays."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, folder_path, plain

if TYPE_CHECKING:
    from tapehook.job.shots import Shot
    from tapehook.prep.stop_pull import StopPullPrep

_EXAMPLE = """\b
Example:
  tapehook stop-pull my-job --shot window
  tapehook stop-pull my-job --shot window --json
"""


@click.command("stop-pull", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--shot", cls=Option, required=True, help="Name of the shot: NAME for shots/NAME.toml.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(folder: Path, shot: str, as_json: bool) -> None:  # noqa: FBT001 - click passes options by name
    """The stop changes in shot, a variable filter holds the exposure.

    Turns the course of stops in shots/NAME.toml into positions of the iris, through its own map, and of the extra motor
    that turns the filter, with the exposure error to reckon with. What cannot be done is told with what can.
    """
    from tapehook.job import read_job
    from tapehook.job.shot_files import shot_bytes
    from tapehook.job.stop_pulls import stop_pull_from
    from tapehook.prep.stop_pull import prepare_stop_pull
    from tapehook.prep.stop_pull_as_json import stop_pull_as_json
    from tapehook.prep.stop_pull_motors import with_shot

    job = read_job(folder)
    data, file = shot_bytes(folder, shot)
    prep = with_shot(prepare_stop_pull(job, stop_pull_from(data, file), shot), _around(data, file))
    if as_json:
        show_json(stop_pull_as_json(prep))
    else:
        _show(prep)


def _around(data: bytes, file: str) -> "Shot | None":
    """The shot around the stop pull; None where the file has no people in it, or says of them what cannot be read."""
    from tapehook.job import JobProblems
    from tapehook.job.shots import shot_from

    try:
        return shot_from(data, file)
    except JobProblems:
        return None


def _show(prep: "StopPullPrep") -> None:
    """The card: verdict, positions, limits, what the error is made of."""
    from tapehook.notation import format_stop_in_thirds, format_thirds
    from tapehook.prep.stop_pull import advice
    from tapehook.prep.stop_pull_findings import limit_finding

    pull = prep.pull
    first, last = (format_stop_in_thirds(float(pull.t_stops[at])) for at in (0, -1))
    length = pull.times_s[-1] - pull.times_s[0]
    click.echo(plain(f"{prep.lens.id} with {prep.filter.id}: {first} to {last} over {length:g} s"))
    if prep.feasible:
        click.echo(f"works; the filter takes {format_thirds(pull.loss_stops)} at rest, lost throughout")
        show_rows(("time", "stop", "iris", "density", "filter", "extra motor", "exposure"), _rows(prep))
    else:
        click.echo("cannot be done as planned")
    for limit in pull.limits:
        found = limit_finding(limit, prep)
        click.echo(plain(f"{'ok' if limit.holds else found.severity:<9}{found.message}"))
        if found.severity == "watch":
            click.echo(plain(f"  → {found.next_step}"))
    for error in pull.errors:
        assumed = ", assumed" if error.assumed else ""
        click.echo(f"error    {error.name}: up to {error.stops.max():.3f} stop{assumed}")
    for sentence in advice(prep):
        click.echo(plain(f"  → {sentence}"))
    for sentence in prep.conflicts:
        click.echo(plain(f"  × {sentence}"))
    for sentence in prep.cautions:
        click.echo(plain(f"  ! {sentence}"))
    for sentence in prep.assumptions:
        click.echo(f"  assumed: {sentence}")


def _rows(prep: "StopPullPrep") -> list[list[str]]:
    from tapehook.prep.stop_pull_moments import picked_moments

    return [
        [one.time, one.stop, one.iris, one.density, one.filter_deg, one.extra_percent, one.error]
        for one in picked_moments(prep)
    ]
