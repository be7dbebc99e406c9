"""``tapehook prep``: prepare a job folder and write its handover."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import progress, show_findings, show_json, show_summary, waiting
from tapehook.cli.refusals import (
    Argument,
    Command,
    Option,
    OptionProblem,
    Problem,
    Refusal,
    folder_path,
    note_written,
    read_paper,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tapehook.job import Job
    from tapehook.job.signed import SignedOff

_EXAMPLE = """\b
Example:
  tapehook prep my-job --out my-handover
  tapehook prep my-job --out my-handover --paper us-letter --json
  tapehook prep --job "Harbour, unit 1" --out my-handover
"""


def _folder_unless_job(ctx: click.Context, param: click.Parameter, value: str | None) -> Path | None:
    """The folder, which may only be left out where --job names one of the book; --job is read first."""
    if value is None and ctx.params.get("job_name") is None:
        raise click.MissingParameter("the path of a job folder, or --job and a name", ctx, param)
    return folder_path(ctx, param, value)


def folder_or_job(function: Callable[..., Any]) -> Callable[..., Any]:
    """What says which job: the argument FOLDER, or --job and --book in its place."""
    said = "The book that --job is in; otherwise TAPEHOOK_BOOK, else the one in your data folder."
    options = (
        click.argument("folder", cls=Argument, required=False, callback=_folder_unless_job),
        click.option(
            "--job",
            "job_name",
            cls=Option,
            is_eager=True,
            metavar="NAME",
            help="A job of the book, in place of a folder.",
        ),
        click.option("--book", "where", cls=Option, metavar="PATH|URL", help=said),
    )
    for option in reversed(options):
        function = option(function)
    return function


def one_of_both(folder: Path | None, job_name: str | None) -> None:
    """Raise Refusal when a folder and a job are both named, or neither."""
    if (folder is None) == (job_name is None):
        raise Refusal([OptionProblem("FOLDER", str(folder), "the path of a job folder, or --job and a name; not both")])


@click.command("prep", cls=Command, epilog=_EXAMPLE)
@folder_or_job
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
    callback=read_paper,
    help="Paper of the PDF; otherwise what job.toml says.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print what was found as JSON (docs: Commands).")
@click.pass_context
def command(
    ctx: click.Context,
    folder: Path | None,
    job_name: str | None,
    where: str | None,
    out: Path,
    paper: str | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Prepare a job folder, or a job of the book, and write its handover: PDF, pocket page, tables.

    Every lens is mapped and judged for the stop the job is shot at. Nothing is written when the job has problems.
    """
    one_of_both(folder, job_name)
    if job_name is not None:
        job, signed = job_of_book(job_name, where, out)
        prepare_job(ctx, job, out, paper, signed=signed, as_json=as_json)
    elif folder is not None:
        prepare_folder(ctx, folder, out, paper, as_json=as_json)


def prepare_folder(ctx: click.Context, folder: Path, out: Path, paper: str | None, *, as_json: bool) -> None:
    """Read a folder, then all that follows."""
    prepare_job(ctx, job_to_prepare(folder, out), out, paper, as_json=as_json)


def prepare_job(
    ctx: click.Context, job: "Job", out: Path, paper: str | None, *, as_json: bool, signed: "Sequence[SignedOff]" = ()
) -> None:
    """Prepare, write, print: what ``prep`` and ``demo`` share."""
    from tapehook.handover.files import render_handover
    from tapehook.prep import prep_as_json, prepare

    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report)
    with waiting("making the PDF, the pocket page and the tables", quiet=as_json):
        rendered = render_handover(prep, paper, signed)
        written = write_all(rendered, out)
    note_written(ctx)
    if as_json:
        show_json({**prep_as_json(prep), "files": [str(path) for path in written]})
        return
    show_findings([finding for finding in prep.findings if finding.severity != "info"])
    show_summary(prep, written)


def job_of_book(name: str, where: str | None, out: Path) -> "tuple[Job, tuple[SignedOff, ...]]":
    """The job of that name in the book, and what was signed off on it.

    Raises Refusal or BookRefusal with what is wrong with it, or with ``out``.
    """
    from tapehook.book.jobs import load_job
    from tapehook.book.signing import signed_off
    from tapehook.book.store import open_book
    from tapehook.handover.files import check_target

    try:
        check_target(out)
    except OSError as error:
        raise Refusal([_no_target(out, error)]) from None
    with open_book(where) as book:
        return load_job(book, name), signed_off(book, name)


def _no_target(out: Path, error: OSError) -> OptionProblem:
    at = "" if error.filename in {None, str(out)} else f"; {error.filename} is in the way"
    return OptionProblem("--out", str(out), f"a folder that can be written to ({error.strerror}{at})")


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
        problems.append(_no_target(out, error))
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
