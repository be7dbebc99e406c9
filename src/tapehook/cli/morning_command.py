"""``tapehook morning``: three lenses on a chart after a cold night tell for the kit."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.finding import Finding
    from tapehook.job import Job
    from tapehook.notation import PositionUnit
    from tapehook.prep import Prep
    from tapehook.prep.morning import Check, Checked

_EXPECTED = "LENS=DISTANCE@POSITION such as L01=inf@12.3"
_EXAMPLE = """\b
Example:
  tapehook morning my-job
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
    help="Best focus found on a chart, three lenses or more: L01=inf@12.3. Otherwise the last morning of morning.csv.",
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
    if not found:
        _answer_by_table(prep, as_json=as_json)
        return
    try:
        morning = morning_check(prep, found, temperature_c)
    except NoCheck as trouble:
        raise Refusal([OptionProblem("--check", trouble.lens_id, trouble.expected)]) from None
    if as_json:
        show_json(morning_as_json(morning))
    else:
        _show(morning.checked, (morning.finding,), job)


def _answer_by_table(prep: "Prep", *, as_json: bool) -> None:
    """What the table of the job says, of its last morning."""
    from tapehook.prep.job_morning import job_morning, job_morning_as_json

    morning = job_morning(prep)
    assert morning is not None  # noqa: S101 - _read() has refused a job without checks
    if as_json:
        show_json({**job_morning_as_json(morning), "finding": morning.findings[0].as_json()})
    else:
        _show(morning.checked, morning.findings, prep.job)


def _read(checks: Sequence[str], temperature: str | None, job: "Job") -> "tuple[list[Check], float | None]":
    """The checks and the temperature as typed. Raises Refusal with all that is wrong."""
    from tapehook.notation import NotationError, parse_temperature

    problems, found, temperature_c = [], [], None
    if not checks and not job.morning:
        said = f"not given, and the job has no checks in morning.csv; expected {_EXPECTED}"
        problems.append(OptionProblem("--check", None, _EXPECTED, said))
    if not checks and temperature is not None:
        said = "belongs to --check; morning.csv has a column temperature_c"
        problems.append(OptionProblem("--temperature", temperature, "no temperature here", said))
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


def _show(checked: "Sequence[Checked]", findings: "Sequence[Finding]", job: "Job") -> None:
    from rich import box
    from rich.table import Table

    units = {lens.id: lens.unit for lens in job.lenses}
    heat = any(one.heat_m is not None for one in checked)
    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in ("lens", "chart", "found", "as if the sensor lay", *(["by heat"] if heat else []), "depth used"):
        table.add_column(heading)
    for one in checked:
        table.add_row(*map(plain, _cells(one, job, units[one.check.lens_id], heat=heat)))
    if checked:
        show_table(table)
    for finding in findings:
        who = "" if finding.lens_id is None else f"{finding.subject}: "
        click.echo(plain(f"{finding.severity}: {who}{finding.message}"))
        click.echo(plain(f"  next: {finding.next_step}"))


def _cells(one: "Checked", job: "Job", unit: "PositionUnit", *, heat: bool) -> list[str]:
    from tapehook.notation import format_distance, format_position
    from tapehook.prep.flange_findings import side
    from tapehook.prep.wording import percent

    cells = [
        one.check.lens_id,
        format_distance(one.check.distance_m, job.units),
        format_position(one.check.position, unit),
        f"{abs(one.shift_m) * 1e6:.0f} +- {1.96e6 * one.sd_m:.0f} µm {side(one.shift_m)}",
    ]
    if heat:
        cells.append("not measured" if one.heat_m is None else f"{abs(one.heat_m) * 1e6:.0f} µm {side(one.heat_m)}")
    return [*cells, f"{percent(one.used)} at {one.stop.text}"]
