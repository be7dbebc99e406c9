"""``tapehook map``: the maps of a job folder."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.job import Lens
    from tapehook.optics.through import Through
    from tapehook.prep import LensPrep, Prep


_EXAMPLE = """\b
Example:
  tapehook map my-job
  tapehook map my-job --lens L03 --json
  tapehook map my-job --lens L03 --extender 1.4x --extender-length 32mm
"""


@click.command("map", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--lens", "lens_ids", cls=Option, multiple=True, help="Only this lens id; may be given more than once.")
@click.option("--extender", cls=Option, help="An extender behind the lens: where the ring must be: 1.4x, 2x.")
@click.option("--extender-length", cls=Option, help="How long it is, mount to mount: 30mm. Otherwise 0.")
@click.option("--port", cls=Option, help="A port under water: flat, or the radius of a dome: 100mm.")
@click.option("--port-front", cls=Option, help="From the image plane to its outer face: 180mm.")
@click.option("--port-glass", cls=Option, help="How thick its glass is: 10mm. Otherwise thin.")
@click.option("--water", cls=Option, metavar="fresh|sea", help="The water; otherwise fresh.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the maps as JSON (docs: Commands).")
def command(folder: Path, lens_ids: tuple[str, ...], as_json: bool, **typed: str | None) -> None:  # noqa: FBT001
    """Lens maps of a job folder, and how sure they are.

    A map gives the ring position for every distance from close focus to infinity, at the centre of the backlash. With
    an extender or a port: where the ring must be for round distances, and what is sharp.
    """
    from tapehook.cli.depth_answer import through_typed
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.as_json import maps_as_json

    through = through_typed(typed)
    job = read_job(folder)
    unknown = sorted(set(lens_ids) - {lens.id for lens in job.lenses})
    if unknown:
        raise Refusal([OptionProblem("--lens", lens_id, f"the id of a lens in {folder}") for lens_id in unknown])
    if lens_ids:
        job = job.model_copy(update={"lenses": tuple(lens for lens in job.lenses if lens.id in lens_ids)})
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report)
    looks_through = through.extender is not None or through.port is not None
    if as_json:
        show_json(_with_rows(maps_as_json(prep), prep, through) if looks_through else maps_as_json(prep))
    elif looks_through:
        _show_through(prep, through, typed)
    else:
        _show(prep)


def _with_rows(maps: "dict[str, Any]", prep: "Prep", through: "Through") -> "dict[str, Any]":
    """The maps with the rows through extender and port beside each."""
    from tapehook.prep.through_map import through_as_json, through_rows

    lenses = {
        entry.lens.id: {**maps["lenses"][entry.lens.id], "through": through_as_json(through_rows(entry, through))}
        for entry in prep.lenses
    }
    return {**maps, "lenses": lenses}


def _show_through(prep: "Prep", through: "Through", typed: "Mapping[str, str | None]") -> None:
    """A table of round distances for each lens, and what was assumed."""
    from tapehook.cli.console import show_rows
    from tapehook.cli.depth_through import assumed
    from tapehook.notation import format_distance
    from tapehook.prep.through_map import through_rows
    from tapehook.prep.wording import position_text

    for entry in prep.lenses:
        rows = through_rows(entry, through)
        click.echo(plain(f"{entry.lens.id}, {entry.title}"))
        if not rows:
            click.echo(
                "  no map, or everything is seen nearer than its map begins, or the port stands behind its pupil"
            )
            continue
        sharp = f"sharp with the ring at {rows[0].stop}" if rows[0].stop else "sharp"
        cells = []
        for row in rows:
            limits = [row.near_m, row.far_m]
            zone = " - ".join("?" if x is None else format_distance(max(x, 1e-3), entry.system) for x in limits)
            ring = position_text(row.position, entry.lens)
            cells.append([row.text, format_distance(row.scale_m, entry.system), ring, zone])
        moved = f"ring, moved {rows[0].moved_for}" if rows[0].moved_for else "ring"
        show_rows(["distance", "on the scale", moved, sharp], cells)
    for sentence in assumed(through, typed):
        click.echo(f"  assumed: {sentence}")


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
