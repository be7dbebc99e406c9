"""``tapehook prep``: prepare a job folder and write its handover."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_findings, show_json, show_summary
from tapehook.cli.refusals import (
    Argument,
    Command,
    Option,
    OptionProblem,
    Problem,
    Refusal,
    folder_path,
    note_written,
    one_of,
)

if TYPE_CHECKING:
    from tapehook.job import Job

_EXAMPLE = """\b
Example:
  tapehook prep my-job --out my-handover
  tapehook prep my-job --out my-handover --paper us-letter --json
"""


@click.command("prep", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option(
    "--out",
    cls=Option,
    required=True,
    metavar="FOLDER",
    callback=folder_path,
    help="The folder the handover is written to.",
)
@click.option(
    "--paper",
    cls=Option,
    metavar="a4|us-letter",
    callback=one_of("a4", "us-letter"),
    help="Paper of the PDF; otherwise what job.toml says.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print what was found as JSON (docs: Commands).")
@click.pass_context
def command(ctx: click.Context, folder: Path, out: Path, paper: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Prepare a job folder and write its handover: PDF, pocket page, tables.

    Every lens is mapped and judged for the stop the job is shot at. Nothing is written when the folder has problems.
    """
    prepare_folder(ctx, folder, out, paper, as_json=as_json)


def prepare_folder(ctx: click.Context, folder: Path, out: Path, paper: str | None, *, as_json: bool) -> None:
    """Read, prepare, write, print: what ``prep`` and ``demo`` share."""
    from tapehook.handover.files import render_handover
    from tapehook.prep import prep_as_json, prepare

    job = job_to_prepare(folder, out)
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report)
    rendered = render_handover(prep, paper)
    written = write_all(rendered, out)
    note_written(ctx)
    if as_json:
        show_json({**prep_as_json(prep), "files": [str(path) for path in written]})
        return
    show_findings([finding for finding in prep.findings if finding.severity != "info"])
    show_summary(prep, written)


def write_all(rendered: dict[str, bytes], out: Path) -> list[Path]:
    """Write files into ``out``. Raises Refusal when a folder stands in the place of one."""
    from tapehook.handover.files import write_handover

    in_the_way = [name for name in rendered if (out / name).is_dir()]
    if in_the_way:
        raise Refusal([OptionProblem("--out", str(out), f"no folder in the place of {name}") for name in in_the_way])
    return write_handover(rendered, out)


def job_to_prepare(folder: Path, out: Path) -> "Job":
    """The job in ``folder``. Raises Refusal with all that is wrong with it, and with ``out`` as a place to write to."""
    from tapehook.handover.files import check_target
    from tapehook.job import Job, JobProblems, read_job

    job, problems = Job(), list[Problem]()
    try:
        job = read_job(folder)
    except JobProblems as found:
        problems += found.problems
    try:
        check_target(out)
    except OSError as error:
        at = "" if error.filename in {None, str(out)} else f"; {error.filename} is in the way"
        problems.append(OptionProblem("--out", str(out), f"a folder that can be written to ({error.strerror}{at})"))
    if _same_folder(folder, out):
        problems.append(OptionProblem("--out", str(out), "another folder than the job's own"))
    if problems:
        raise Refusal(problems)
    return job


def _same_folder(one: Path, other: Path) -> bool:
    """True when both paths lead to one folder."""
    try:
        return one.samefile(other)
    except OSError:
        return False
