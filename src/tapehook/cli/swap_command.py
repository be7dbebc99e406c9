"""``tapehook swap``: a lens is swapped in mid-job; what that spoils, and the two marks that settle it."""

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from tapehook.cli.console import progress, show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, Together, folder_path, plain

if TYPE_CHECKING:
    from tapehook.job import Job, Lens, Reading
    from tapehook.prep.swap import Swap

_EXAMPLE = """\b
Example:
  tapehook swap my-job --goes L05 --comes 50431
  tapehook swap my-job --goes L05 --comes 50431 --mark "5ft = 156.8 / 157.0" --mark "2ft 3in = 275.3 / 275.6"
"""


@click.command("swap", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--goes", cls=Option, required=True, help="The id of the lens that goes.")
@click.option(
    "--comes", cls=Option, required=True, help="The id of the lens that comes, or the serial of one not listed yet."
)
@click.option(
    "--mark",
    "marks",
    cls=Option,
    multiple=True,
    help='A mark read on it: "5ft = 156.9"; both ways, from near to far first: "5ft = 156.8 / 157.0". May be repeated.',
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(folder: Path, goes: str, comes: str, marks: tuple[str, ...], as_json: bool) -> None:  # noqa: FBT001
    """A lens is swapped in mid-job: what that spoils, and the two marks that settle it.

    Strips, pulls, maps lent, charts of the lens that goes, each with what settles it; then the two marks to read on
    the lens that comes, and with them what the borrowed map uses of the depth. Nothing is written.
    """
    from tapehook.job import read_job
    from tapehook.job.shot_lenses import shots_on
    from tapehook.prep.swap import swap_as_json, swap_lens

    job = read_job(folder)
    together = Together()
    with together.part():
        lens = _comes(job, folder, goes, comes)
    with together.part():
        readings = _readings(lens if not together.problems else _like(job, goes, comes), marks)
    together.settle()
    with progress("mapping lenses", quiet=as_json):
        swap = swap_lens(job, goes, lens, readings, pulls=shots_on(folder, goes))
    if as_json:
        show_json(swap_as_json(swap))
    else:
        _show(swap)


def _comes(job: "Job", folder: Path, goes: str, comes: str) -> "Lens":
    """The lens that comes: one of the job, or a copy of the one that goes. Raises Refusal."""
    from tapehook.prep.swap import newcomer

    by_id = {lens.id: lens for lens in job.lenses}
    problems = []
    if goes not in by_id:
        problems.append(OptionProblem("--goes", goes, f"the id of a lens in {folder}"))
    if comes == goes or not comes.strip() or len(comes) > 80 or not comes.isprintable():
        expected = "another lens: its id in the job, or a serial of at most 80 characters"
        problems.append(OptionProblem("--comes", comes, expected))
    if problems:
        raise Refusal(problems)
    return by_id.get(comes) or newcomer(by_id[goes], comes)


def _like(job: "Job", goes: str, comes: str) -> "Lens":
    """A lens to read marks by where those named cannot be taken: either of them, else one in degrees and feet."""
    from tapehook.job import Lens

    return next((lens for lens in job.lenses if lens.id in (comes, goes)), Lens(id="none", engraved_in="feet"))


def _readings(lens: "Lens", marks: tuple[str, ...]) -> "list[Reading]":
    """The marks typed, each as a reading. Raises Refusal with all that cannot be read."""
    from tapehook.notation import NotationError, parse_distance
    from tapehook.prep.swap import mark_readings

    found: list[Reading] = []
    problems = []
    bare: dict[str | None, Literal["ft", "m"]] = {"feet": "ft", "metric": "m"}
    for text in marks:
        distance, parted, position = text.partition("=")
        if not parted:
            problems.append(OptionProblem("--mark", text, 'a mark such as "5ft = 156.8 / 157.0"'))
            continue
        try:
            value = parse_distance(distance, bare_unit=bare.get(lens.engraved_in))
            found += mark_readings(lens, value, position)
        except NotationError as error:
            problems.append(OptionProblem("--mark", text, error.expected, str(error)))
        except ValueError:
            problems.append(OptionProblem("--mark", text, "a distance a lens can have, and a position"))
    if problems:
        raise Refusal(problems)
    return found


_BY = {
    "two_marks": "two marks",
    "charts": "charts",
    "ring": "reading that ring",
    "signature": "a signature",
}


def _show(swap: "Swap") -> None:
    click.echo(plain(f"{swap.goes.lens.id} goes, {swap.comes.lens.id} comes ({swap.comes.title})"))
    if swap.spoilt:
        rows = [[one.name, one.why, _BY[one.settled_by], "cleared" if one.cleared else "open"] for one in swap.spoilt]
        show_rows(["what", "why", "settled by", ""], rows)
    else:
        click.echo("Nothing was made for it that a swap would spoil.")
    for finding in swap.findings:
        click.echo(plain(f"{finding.severity}: {finding.message} {finding.next_step}"))
