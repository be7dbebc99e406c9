"""``tapehook pull``: the pull of a shot."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.prep.shots import ShotPlan

_EXAMPLE = """\b
Example:
  tapehook pull my-job --shot window
  tapehook pull my-job --shot window --slowest --json
  tapehook pull my-job --shot window --judge my-job/by-hand.csv
"""
ROWS = 24
"""Moments of the sheet that a terminal shows at most."""


@click.command("pull", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--shot", cls=Option, help="Name of the shot: the file shots/NAME.toml of the job.  [required]")
@click.option(
    "--slowest", cls=Option, is_flag=True, help="The least peak speed there is, instead of the smoothest line."
)
@click.option(
    "--judge",
    cls=Option,
    metavar="FILE",
    callback=folder_path,
    help="A pull made by hand, to be judged: a table of time_s and position.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the pull as JSON (docs: Commands).")
def command(folder: Path, shot: str | None, slowest: bool, judge: Path | None, as_json: bool) -> None:  # noqa: FBT001
    """The pull of a shot: where the ring must be at each moment.

    From people on a floor plan to the sharp lane of the lens, and the smoothest line through it that the motor can
    follow; when there is none, the widest stop that works and the frames that go soft.
    """
    from tapehook.job import JobProblems, Problem, read_job
    from tapehook.job.hand_pulls import read_hand_pull
    from tapehook.job.shots import read_shot
    from tapehook.prep import prepare
    from tapehook.prep.shot_findings import plan_as_json
    from tapehook.prep.shot_lens import NoPlan
    from tapehook.prep.shots import plan_shot

    if shot is None:
        expected = "the name of a shot, such as window for shots/window.toml"
        raise Refusal([OptionProblem("--shot", None, expected, f"not given, expected {expected}")])
    if judge is not None and slowest:
        raise Refusal([OptionProblem("--judge", str(judge), "either a pull to judge or --slowest")])
    job, asked = read_job(folder), read_shot(folder, shot)
    made = None if judge is None else read_hand_pull(judge)
    only = job.model_copy(
        update={
            "lenses": tuple(lens for lens in job.lenses if lens.id == asked.lens) or job.lenses[:12],
            "readings": tuple(reading for reading in job.readings if reading.lens_id == asked.lens),
            "charts": tuple(test for test in job.charts if test.lens_id == asked.lens),
            "tstops": (),
            "morning": (),
        }
    )
    try:
        with progress("planning the pull", quiet=as_json):
            plan = plan_shot(prepare(only, brief=True), asked, "slowest" if slowest else "smoothest", made)
    except NoPlan as trouble:
        raise JobProblems(
            [Problem(f"shots/{shot}.toml", None, trouble.field, trouble.read, trouble.expected)]
        ) from None
    if as_json:
        show_json(plan_as_json(plan))
    else:
        _show(plan)


def _show(plan: "ShotPlan") -> None:
    """The verdict, the marks at even moments, and what is assumed."""
    from tapehook.notation import format_distance
    from tapehook.prep.shot_findings import LEAST_M, shot_findings
    from tapehook.prep.wording import position_text

    click.echo(plain(f"{plan.shot.title}: {plan.entry.title} at {plan.stop.text}"))
    for finding in shot_findings(plan):
        click.echo(plain(f"{finding.severity}: {finding.message} {finding.next_step}"))
    step = max(1, -(-plan.time_s.size // ROWS))
    rows = []
    for at in range(0, plan.time_s.size, step):
        lens = plan.entry.lens
        lane = f"{position_text(float(plan.low[at]), lens)} - {position_text(float(plan.high[at]), lens)}"
        people = [format_distance(max(float(one.distance_m[at]), LEAST_M), plan.entry.system) for one in plan.people]
        where = position_text(float(plan.position[at]), lens)
        rows.append([f"{plan.time_s[at]:.2f} s", where, lane, *people])
    show_rows(["time", "ring", "sharp lane", *(one.name for one in plan.people)], rows)
    for sentence in plan.assumptions:
        click.echo(plain(f"  assumed: {sentence}"))
