"""``tapehook morning``: three lenses on a chart after a cold night tell for the kit."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.job import Job
    from tapehook.prep.morning import Check, Morning

_EXPECTED = "LENS=DISTANCE@POSITION such as L01=inf@12.3"
_EXAMPLE = """\b
Example:
  tapehook morning my-job --check L03=inf@4.9 --check L05=5m@66.3 --check L01=inf@3.2
  tapehook morning my-job --check "L03=16'@25.1" --check L05=5m@66.3 --check L01=inf@3.2 --temperature 2C --json
"""


@click.command("morning", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option(
    "--check",
    "checks",
    cls=Option,
    multiple=True,
    metavar="LENS=DISTANCE@POSITION",
    help="Best focus found on a chart, three lenses or more: L01=inf@12.3.",
)
@click.option("--temperature", cls=Option, help="Temperature of the lenses now: -2C. Tells what heat accounts for.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(folder: Path, checks: Sequence[str], temperature: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Whether the kit came through a cold night: three lenses, a chart each, tell for all.

    Find best focus on a chart wide open, as for the flange, and compare with the maps. Nothing is written.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.morning import NoCheck, morning_as_json, morning_check

    job = read_job(folder)
    found, temperature_c = _read(checks, temperature, job)
    with progress("preparing", quiet=as_json) as report:
        prep = prepare(job, report, brief=True)
    try:
        morning = morning_check(prep, found, temperature_c)
    except NoCheck as trouble:
        raise Refusal([OptionProblem("--check", trouble.lens_id, trouble.expected)]) from None
    if as_json:
        show_json(morning_as_json(morning))
    else:
        _show(morning, job)


def _read(checks: Sequence[str], temperature: str | None, job: "Job") -> "tuple[list[Check], float | None]":
    """The checks and the temperature as typed. Raises Refusal with all that is wrong."""
    from tapehook.notation import NotationError, parse_temperature

    problems, found, temperature_c = [], [], None
    if not checks:
        problems.append(OptionProblem("--check", None, _EXPECTED, f"not given, expected {_EXPECTED}"))
    for text in checks:
        try:
            found.append(_check(text, job))
        except NotationError as trouble:
            problems.append(OptionProblem("--check", text, trouble.expected, str(trouble)))
    if temperature is not None:
        try:
            temperature_c = parse_temperature(temperature)
        except NotationError as trouble:
            problems.append(OptionProblem("--temperature", temperature, trouble.expected, str(trouble)))
    if problems:
        raise Refusal(problems)
    return found, temperature_c


def _check(text: str, job: "Job") -> "Check":
    """One check; its position is in the unit of its lens."""
    from tapehook.notation import NotationError, parse_distance, parse_position
    from tapehook.prep.morning import Check

    lens_id, equals, rest = text.partition("=")
    distance, at, position = rest.rpartition("@")
    units = {lens.id: lens.unit for lens in job.lenses}
    if not (equals and at):
        raise NotationError(text, _EXPECTED)
    if lens_id.strip() not in units:
        raise NotationError(text, _EXPECTED, (), "names no lens of the job")
    return Check(lens_id.strip(), parse_distance(distance), parse_position(position, units[lens_id.strip()]))


def _show(morning: "Morning", job: "Job") -> None:
    from rich import box
    from rich.table import Table

    from tapehook.notation import format_distance, format_position
    from tapehook.prep.flange_findings import side
    from tapehook.prep.wording import percent

    units = {lens.id: lens.unit for lens in job.lenses}
    heat = any(one.heat_m is not None for one in morning.checked)
    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in ("lens", "chart", "found", "as if the sensor lay", *(["by heat"] if heat else []), "depth used"):
        table.add_column(heading)
    for one in morning.checked:
        check = one.check
        cells = [
            check.lens_id,
            format_distance(check.distance_m, job.units),
            format_position(check.position, units[check.lens_id]),
            f"{abs(one.shift_m) * 1e6:.0f} +- {1.96e6 * one.sd_m:.0f} µm {side(one.shift_m)}",
        ]
        if heat:
            cells.append("not measured" if one.heat_m is None else f"{abs(one.heat_m) * 1e6:.0f} µm {side(one.heat_m)}")
        table.add_row(*(plain(cell) for cell in (*cells, f"{percent(one.used)} at {one.stop.text}")))
    show_table(table)
    click.echo(plain(f"{morning.finding.severity}: {morning.finding.message}"))
    click.echo(plain(f"  next: {morning.finding.next_step}"))
