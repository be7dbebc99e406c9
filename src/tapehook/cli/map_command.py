"""``tapehook map``: the maps of a job folder."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.job import Lens
    from tapehook.prep import LensPrep, Prep


_EXAMPLE = """\b
Example:
  tapehook map my-job
  tapehook map my-job --lens L03 --json
"""


@click.command("map", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--lens", "lens_ids", cls=Option, multiple=True, help="Only this lens id; may be given more than once.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the maps as JSON (docs: Commands).")
def command(folder: Path, lens_ids: tuple[str, ...], as_json: bool) -> None:  # noqa: FBT001
    """Lens maps of a job folder, and how sure they are.

    A map gives the ring position for every distance from close focus to infinity, at the centre of the backlash.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.as_json import maps_as_json

    job = read_job(folder)
    unknown = sorted(set(lens_ids) - {lens.id for lens in job.lenses})
    if unknown:
        raise Refusal([OptionProblem("--lens", lens_id, f"the id of a lens in {folder}") for lens_id in unknown])
    if lens_ids:
        job = job.model_copy(update={"lenses": tuple(lens for lens in job.lenses if lens.id in lens_ids)})
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report)
    if as_json:
        show_json(maps_as_json(prep))
    else:
        _show(prep)


def _show(prep: "Prep") -> None:
    """One line a lens: what was read, how well it fits, and the state of the map."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in ("lens", "what", "marks", "ways", "fit, rms", "backlash", "map"):
        table.add_column(heading)
    for entry in prep.lenses:
        table.add_row(*(Text(plain(cell)) for cell in _cells(entry)))
    show_table(table)


def _cells(entry: "LensPrep") -> list[str]:
    axis = entry.axes["focus"]
    lens_map = axis.lens_map
    if lens_map is None:
        return [entry.lens.id, entry.title, "0" if not axis.readings else "-", "-", "-", "-", f"none: {axis.refusal}"]
    rms = float((lens_map.residuals() ** 2).mean() ** 0.5)
    play = entry.play
    suspects = [row.text for row in entry.marks if row.suspect]
    state = "good" if not suspects else f"without {', '.join(suspects)}"
    return [
        entry.lens.id,
        entry.title,
        str(len(entry.marks)),
        "one way" if entry.one_way else "both ways",
        _width(rms, entry.lens),
        "not known" if play is None else f"{_width(play.value, entry.lens)} +- {_width(2 * play.sd, entry.lens)}",
        state if lens_map.monotone else "turns back on itself",
    ]


def _width(value: float, lens: "Lens") -> str:
    """A width of position with its unit, a decimal finer than the read-out."""
    from tapehook.notation import format_position

    fine = (lens.reading_step or (1.0 if lens.unit == "count" else 0.1)) / 10.0
    return format_position(value, lens.unit, step=fine) + (" counts" if lens.unit == "count" else "")
