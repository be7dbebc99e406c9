"""``tapehook next``: what to measure next on a lens."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.lens.next_mark import NextMark
    from tapehook.prep import LensPrep
    from tapehook.prep.next_mark import Advice

_EXAMPLE = """\b
Example:
  tapehook next my-job --lens L03
  tapehook next my-job --lens L03 --most 2 --json
"""


@click.command("next", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--lens", "lens_id", cls=Option, required=True, help="The id of a lens in the folder.")
@click.option(
    "--most", cls=Option, type=click.IntRange(1, 20), default=5, help="At most so many marks; 5 if nothing is said."
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the marks as JSON (docs: Commands).")
def command(folder: Path, lens_id: str, most: int, as_json: bool) -> None:  # noqa: FBT001
    """What to measure next on a lens, best first.

    Distances that somebody would tape, each with the most that the map uses of the depth before and after it, at the
    lens's widest stop.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.next_mark import next_advice

    job = read_job(folder)
    lenses = tuple(lens for lens in job.lenses if lens.id == lens_id)
    if not lenses:
        raise Refusal([OptionProblem("--lens", lens_id, f"the id of a lens in {folder}")])
    readings = tuple(reading for reading in job.readings if reading.lens_id == lens_id)
    job = job.model_copy(update={"lenses": lenses, "readings": readings})
    with progress("mapping the lens", quiet=as_json) as report:
        (entry,) = prepare(job, report, brief=True).lenses
    advice = next_advice(entry, job, most=most)
    if advice.refusal is not None:
        said = f"nothing can be said of {lens_id}: {advice.refusal}"
        raise Refusal([OptionProblem("--lens", lens_id, "a lens that can be judged", said)])
    if as_json:
        show_json(_as_json(advice))
    else:
        _show(entry, advice)


def _as_json(advice: "Advice") -> list[dict[str, Any]]:
    from tapehook.notation import format_distance
    from tapehook.prep.as_json import finite

    return [
        {
            "distance_m": finite(mark.distance_m),
            "distance_text": format_distance(mark.distance_m, advice.system),
            "how": mark.how,
            "worst_depth_used_before": finite(mark.used_before),
            "worst_depth_used_after": finite(mark.used_after),
        }
        for mark in advice.marks
    ]


def _show(entry: "LensPrep", advice: "Advice") -> None:
    """What to read, one line a mark, and what is left to say."""
    click.echo(plain(f"{entry.lens.id}, {entry.title}"))
    if advice.marks:
        _show_marks(advice.marks, advice)
    click.echo(plain(_closing(advice)))


def _show_marks(marks: "Sequence[NextMark]", advice: "Advice") -> None:
    from rich import box
    from rich.table import Table

    from tapehook.prep.next_mark import mark_words
    from tapehook.prep.wording import percent

    stop = f" at {advice.stop.text}" if advice.stop else ""
    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in ("", "what to do", f"worst depth used{stop}", "then"):
        table.add_column(heading)
    for number, mark in enumerate(marks, start=1):
        shares = ["-" if share is None else percent(share) for share in (mark.used_before, mark.used_after)]
        table.add_row(str(number), mark_words(mark, advice.system), *shares)
    show_table(table)


def _closing(advice: "Advice") -> str:
    """The sentence under the list: whether it is enough, or what then still limits."""
    from tapehook.prep.next_mark import LITTLE, enough_from, little
    from tapehook.prep.wording import percent

    if advice.enough and advice.worst_used is not None and advice.stop is not None:
        return (
            f"Enough: every distance is under a quarter of the depth at {advice.stop.text}; the map uses at most "
            f"{percent(advice.worst_used)}."
        )
    if advice.worst_used is None:
        return "There is no map yet. Read these both ways: once arriving from near, once from far."
    first, last = advice.marks[0].used_before, advice.marks[-1].used_after
    if first is not None and last is not None and advice.stop is not None and last > LITTLE * first:
        return little(last, advice.stop)
    stop = enough_from(advice)
    then = "" if stop is None else f" After these, every distance is under a quarter from {stop.text} on."
    return f"Read each both ways: once arriving from near, once from far.{then}"
