"""``tapehook strip``: strips of marks at 1:1, to cut out and lay round a ring."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import show_json
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
    plain,
    read_paper,
)

if TYPE_CHECKING:
    from tapehook.cli.strip_options import StripOptions
    from tapehook.handover.strips import PrintedStrip
    from tapehook.handover.typesetting import Paper
    from tapehook.job import Job, Lens
    from tapehook.prep import LensPrep
    from tapehook.prep.strips import LensStrip

_EXAMPLE = """\b
Example:
  tapehook strip my-job --lens L03 --diameter 80mm --out strip.pdf
  tapehook strip my-job --lens L03 --lens L04 --diameter 3.15in --left-handed --units both --depth-at T2.8 --out two.pdf
  tapehook strip my-job --lens L03 --diameter 80mm --extender-on --out extended.pdf
  tapehook strip my-job --blank deg --circumference 251mm --rotation 300 --out blank.pdf
"""


@click.command("strip", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--lens", "lens_ids", cls=Option, multiple=True, help="The id of a lens; may be given more than once.")
@click.option(
    "--axis",
    cls=Option,
    metavar="focus|iris|zoom",
    default="focus",
    callback=one_of("focus", "iris", "zoom"),
    help="The ring; focus if nothing is said.",
)
@click.option("--diameter", cls=Option, help="Diameter of the ring or disc where the strip lies: 80mm, 3.15in.")
@click.option("--circumference", cls=Option, help="Its circumference instead, measured with a strip of tape: 251mm.")
@click.option(
    "--rotation", cls=Option, help="Turn from one end of the scale to the other, for a disc or where not known: 270."
)
@click.option("--left-handed", cls=Option, is_flag=True, help="Infinity on the left; otherwise it is on the right.")
@click.option("--zero", cls=Option, help="Ring position of the line to lay the strip by; otherwise the far end.")
@click.option(
    "--units",
    cls=Option,
    metavar="ft|m|both",
    callback=one_of("ft", "m", "both"),
    help="Feet, metres or both; otherwise those of the lens.",
)
@click.option("--depth-at", cls=Option, help="Draw the depth of field at this stop: T2.8.")
@click.option("--tape", cls=Option, help="Width of the tape, white or clear: 12mm, 1/2in. 12 mm if nothing is said.")
@click.option("--as-read", cls=Option, is_flag=True, help="Marks as read, not moved for stopping down or glass.")
@click.option("--extender-on", cls=Option, is_flag=True, help="For the lens on the extender that lenses.csv names.")
@click.option("--in-water", cls=Option, is_flag=True, help="For use under water behind the port that lenses.csv names.")
@click.option("--port", cls=Option, help="Under water behind another port: flat, or the radius of a dome: 100mm.")
@click.option("--port-front", cls=Option, help="From the image plane to its outer face: 180mm.")
@click.option("--port-glass", cls=Option, help="How thick its glass is: 10mm. Otherwise thin.")
@click.option("--water", cls=Option, metavar="fresh|sea", help="The water; otherwise fresh.")
@click.option(
    "--blank",
    cls=Option,
    metavar="deg|percent",
    callback=one_of("deg", "percent"),
    help="A strip to mark by hand, in degrees or per cent of the turn.",
)
@click.option(
    "--paper",
    cls=Option,
    metavar="a4|us-letter",
    callback=read_paper,
    help="Paper of the PDF; otherwise what job.toml says.",
)
@click.option("--out", cls=Option, required=True, metavar="FILE", callback=folder_path, help="The PDF to write.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the ticks as JSON (docs: Commands).")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    folder: Path,
    lens_ids: tuple[str, ...],
    out: Path,
    as_json: bool,  # noqa: FBT001 - click's signature
    **typed: Any,  # noqa: ANN401 - click passes options by name
) -> None:
    """Strips of marks at 1:1, to cut out and lay round a ring or a disc.

    Marks are moved for the shooting stop, or that of --depth-at, and for glass behind the lens, where that is known.
    Print the PDF at 100 % and check its 100 mm bar with a ruler. A tick is broken where the lens was not read, or where
    the map is not sure enough for the stop.
    """
    from tapehook.cli.strip_options import check_file, strip_options
    from tapehook.handover.strips import render_sheet

    asked = strip_options(typed)
    job, problems = _read(folder)
    if as_json and len(set(lens_ids)) > 1:
        problems.append(OptionProblem("--lens", lens_ids[-1], "one lens at a time with --json"))
    problems += [*asked.problems, *check_file(out), *_lens_problems(folder, job, lens_ids, typed["blank"], asked)]
    if problems or job is None:
        raise Refusal(problems)
    paper: Paper = "a4" if (typed["paper"] or job.paper) == "a4" else "us-letter"
    shown, printed = (_blank if typed["blank"] else _strips)(job, lens_ids, asked, typed)
    _write(out, render_sheet(job.title, printed, paper))
    note_written(ctx)
    if as_json:
        show_json({**shown[0], "file": str(out)})
    else:
        _show(shown, out)


def _read(folder: Path) -> "tuple[Job | None, list[Problem]]":
    from tapehook.job import JobProblems, read_job

    try:
        return read_job(folder), []
    except JobProblems as found:
        return None, list(found.problems)


def _lens_problems(
    folder: Path, job: "Job | None", lens_ids: Sequence[str], blank: str | None, asked: "StripOptions"
) -> list[Problem]:
    """Lenses that are not there, and a ring of which nobody said how large it is."""
    if job is None:
        return []
    lenses = {lens.id: lens for lens in job.lenses}
    missing = [lens_id for lens_id in lens_ids if lens_id not in lenses]
    found: list[Problem] = [OptionProblem("--lens", lens_id, f"the id of a lens in {folder}") for lens_id in missing]
    if not lens_ids and blank is None:
        expected = "the id of a lens, or --blank"
        found.append(OptionProblem("--lens", None, expected, f"not given, expected {expected}"))
    known = all(lens_id in lenses and lenses[lens_id].ring_diameter_mm for lens_id in lens_ids) and bool(lens_ids)
    read_wrong = {problem.option for problem in asked.problems} & {"--diameter", "--circumference"}
    if asked.circumference_mm is None and not known and not read_wrong:
        expected = "the diameter of the ring such as 80mm, or --circumference, or ring_diameter_mm in lenses.csv"
        found.append(OptionProblem("--diameter", None, expected, f"not given, expected {expected}"))
    return found


def _strips(
    job: "Job", lens_ids: Sequence[str], asked: "StripOptions", typed: dict[str, Any]
) -> "tuple[list[dict[str, Any]], list[PrintedStrip]]":
    """The strips of lenses, as JSON values and for the sheet. Raises Refusal with every lens that can have none."""
    from tapehook.handover.strips import printed_strip, strip_as_json
    from tapehook.prep import prepare
    from tapehook.strip import StripRefusal

    # The whole job: what is usual among its lenses counts in the +- of those read one way only.
    prep = prepare(job, brief=True)
    made: list[LensStrip] = []
    problems: list[Problem] = []
    for lens_id in dict.fromkeys(lens_ids):
        try:
            made.append(_strip(prep.lens(lens_id), asked, typed))
        except StripRefusal as reason:
            said = f"no strip can be made of {lens_id}: {reason}"
            problems.append(OptionProblem("--lens", lens_id, "a lens a strip can be made of", said))
    if problems:
        raise Refusal(problems)
    return [strip_as_json(one, prep) for one in made], [printed_strip(prep.lens(one.lens_id), one) for one in made]


def _strip(entry: "LensPrep", asked: "StripOptions", typed: dict[str, Any]) -> "LensStrip":
    import math

    from tapehook.picture.lettering import text_width
    from tapehook.prep.strips import USUAL_TAPE_MM, StripWish, lens_strip
    from tapehook.strip import Ring

    around = asked.circumference_mm or math.pi * (entry.lens.ring_diameter_mm or 0.0)
    wish = StripWish(
        Ring(around, asked.rotation_deg, asked.left_handed, asked.zero),
        typed["axis"],
        asked.units,
        asked.tape_mm or USUAL_TAPE_MM,
        asked.depth_at,
        as_read=bool(typed["as_read"]),
        extender_on=bool(typed["extender_on"]),
        in_water=bool(typed["in_water"]),
        port=asked.port,
    )
    return lens_strip(entry, wish, text_width)


def _blank(
    job: "Job", lens_ids: Sequence[str], asked: "StripOptions", typed: dict[str, Any]
) -> "tuple[list[dict[str, Any]], list[PrintedStrip]]":
    """One blank strip for each lens named, or one."""
    import math

    from tapehook.handover.strips import blank_as_json, blank_printed
    from tapehook.picture.lettering import text_width
    from tapehook.prep.basis import lens_title
    from tapehook.prep.strips import USUAL_TAPE_MM
    from tapehook.strip import Ring, blank_strip

    chosen: list[Lens | None] = [lens for lens in job.lenses if lens.id in lens_ids]
    shown, printed = [], []
    for lens in chosen or [None]:
        around = asked.circumference_mm or math.pi * ((None if lens is None else lens.ring_diameter_mm) or 0.0)
        ring = Ring(around, asked.rotation_deg, asked.left_handed)
        strip = blank_strip(ring, typed["blank"], tape_mm=asked.tape_mm or USUAL_TAPE_MM, text_width=text_width)
        title = job.title if lens is None else lens_title(lens)
        shown.append(blank_as_json(strip, None if lens is None else lens.id, title))
        printed.append(blank_printed(strip, title))
    return shown, printed


def _write(out: Path, data: bytes) -> None:
    """Write the file whole, or leave an older one as it was."""
    from tapehook.handover.files import write_handover

    write_handover({out.name: data}, out.parent)


def _show(shown: Sequence[dict[str, Any]], out: Path) -> None:
    """A line for each strip, what is not firm, and where the PDF is."""
    for one in shown:
        labels = [tick for tick in one["ticks"] if tick["label"]]
        click.echo(
            plain(
                f"{one['title']}: {one['length_mm']:.1f} mm of scale, {one['turn_deg']:.1f}° on a ring "
                f"{one['ring_mm']:.4g} mm across, {len(labels)} labels, far end on the {one['far_end']}"
            )
        )
        doubtful = [tick["label"] for tick in labels if tick["doubt"]]
        if doubtful:
            click.echo(plain(f"  not firm: {', '.join(doubtful)}"))
        for sentence in one["moved"]:
            click.echo(plain(f"  {sentence}"))
        for sentence in one["assumptions"]:
            click.echo(plain(f"  assumed: {sentence}"))
    click.echo("Print at 100 % and check the 100 mm bar before you cut.")
    click.echo(f"  {plain(str(out))}")
