"""``tapehook close-up``: a close-up lens or a split dioptre on a lens of a job."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import progress, show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, Together, folder_path, plain

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from tapehook.job import Job
    from tapehook.prep.close_up import CloseUp, Wanted
    from tapehook.prep.results import LensPrep, StopView

_EXAMPLE = """\b
Example:
  tapehook close-up my-job --lens L03 --power 0.5
  tapehook close-up my-job --lens L03 --near 60cm --far 3m --stop T4 --json
"""
_MOST_DPT = 20.0


@click.command("close-up", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option("--lens", "lens_id", cls=Option, required=True, help="The id of a lens in the folder.")
@click.option("--power", cls=Option, multiple=True, help="Power of the close-up lens, dioptres: 0.5. Several add up.")
@click.option("--filter", "filters", cls=Option, multiple=True, help="A close-up lens of job.toml by its id. The same.")
@click.option(
    "--front", cls=Option, help="From the image plane to it: 180mm. Otherwise 50mm before the entrance pupil."
)
@click.option("--near", cls=Option, help="Split dioptre: the near subject, 60cm.")
@click.option("--far", cls=Option, help="Split dioptre: the far subject, 3m or inf.")
@click.option("--stop", cls=Option, help="T-stop for the depth. Otherwise that of the job.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(
    folder: Path,
    lens_id: str,
    power: tuple[str, ...],
    filters: tuple[str, ...],
    as_json: bool,  # noqa: FBT001 - click passes options by name
    **typed: str | None,
) -> None:
    """A close-up lens on a lens: its new range, and what its map then means.

    With a near and a far subject also the split dioptre that holds both: its power, the one on hand, and what that
    leaves of the depth.
    """
    from tapehook.job import read_job
    from tapehook.prep import prepare
    from tapehook.prep.close_up import NoCloseUp, close_up_as_json, close_up_of

    job, together = read_job(folder), Together()
    with together.part():
        wanted = _wanted(job, power, filters, typed)
    lenses = tuple(lens for lens in job.lenses if lens.id == lens_id)
    if not lenses:
        together.problems.append(OptionProblem("--lens", lens_id, f"the id of a lens in {folder}"))
    together.settle()
    own = {
        "lenses": lenses,
        "readings": tuple(reading for reading in job.readings if reading.lens_id == lens_id),
        "charts": tuple(test for test in job.charts if test.lens_id == lens_id),
    }
    with progress("mapping the lens", quiet=as_json) as report:
        (entry,) = prepare(job.model_copy(update=own), report, brief=True).lenses
    try:
        found = close_up_of(entry, wanted, _stop(entry, typed["stop"]), job.filters)
    except NoCloseUp as trouble:
        raise Refusal([OptionProblem(f"--{trouble.field}", trouble.read, trouble.expected)]) from None
    if as_json:
        show_json(close_up_as_json(found))
    else:
        _show(found)


def _wanted(
    job: "Job", power: tuple[str, ...], filters: tuple[str, ...], typed: "Mapping[str, str | None]"
) -> "Wanted":
    """What was typed, read. Raises Refusal with all that cannot be read or does not go together."""
    from tapehook.notation import NotationError, parse_distance, parse_length, parse_number, parse_stop
    from tapehook.prep.close_up import NoCloseUp, Wanted, powers_of

    problems: list[OptionProblem] = []

    def read(option: str, text: str | None, parse: "Callable[[str], float]") -> float:
        try:
            return math.nan if text is None else parse(text)
        except NotationError as trouble:
            problems.append(OptionProblem(option, text, trouble.expected, str(trouble)))
            return math.nan

    total = sum(
        read("--power", text.lower().removesuffix("dpt").strip().removeprefix("+"), parse_number) for text in power
    )
    try:
        total += powers_of(job.filters, filters, "close_up")
    except NoCloseUp as trouble:
        problems.append(OptionProblem("--filter", trouble.read, trouble.expected))
    front = read("--front", typed["front"], lambda text: parse_length(text, bare_unit="mm"))
    near, far = read("--near", typed["near"], parse_distance), read("--far", typed["far"], parse_distance)
    read("--stop", typed["stop"], lambda text: parse_stop(text).exact)
    if (typed["near"] is None) != (typed["far"] is None):
        problems.append(OptionProblem("--far" if typed["far"] is None else "--near", None, "both --near and --far"))
    if not power and not filters and typed["near"] is None:
        problems.append(OptionProblem("--power", None, "a power such as 0.5, a --filter, or --near and --far"))
    elif not problems and not 0.0 <= total <= _MOST_DPT:
        expected = f"powers from 0 to {_MOST_DPT:g} dioptres in all"
        problems.append(OptionProblem("--power", f"{total:g}", expected))
    if problems:
        raise Refusal(problems)
    split = None if math.isnan(near) else (near, far)
    return Wanted(total, None if math.isnan(front) else front, split)


def _stop(entry: "LensPrep", text: str | None) -> "StopView | None":
    """The stop for the depth: as typed, else of the job, else the widest."""
    from tapehook.notation import parse_stop
    from tapehook.prep.basis import stop_view

    if text is None:
        return entry.shooting or entry.widest
    return stop_view(parse_stop(text).number, entry.transmission)


def _show(found: "CloseUp") -> None:
    from tapehook.finding import SIGN
    from tapehook.notation import format_distance
    from tapehook.prep.wording import position_text

    entry = found.entry

    def say(metres: float | None) -> str:
        return "–" if metres is None else format_distance(max(metres, 1e-3), entry.system)

    if found.power_dpt > 0:
        at = "" if found.stop is None else f", depth at {found.stop.text}"
        click.echo(
            plain(f"{entry.lens.id} with {found.power_dpt:g} dpt: {say(found.near_m)} to {say(found.far_m)}{at}")
        )
        click.echo(f"at its own close focus the picture is {found.magnified:.2f} times as large as without")
        rows = [
            [
                say(mark.subject_m),
                say(mark.scale_m),
                position_text(mark.position, entry.lens),
                say(mark.near_m),
                say(mark.far_m),
            ]
            for mark in found.marks
        ]
        show_rows(("subject", "scale says", "ring", "near", "far"), rows)
    for finding in found.findings:
        click.echo(plain(f"  {SIGN[finding.severity]} {finding.message}"))
        click.echo(plain(f"    → {finding.next_step}"))
    for sentence in found.assumptions:
        click.echo(plain(f"  assumed: {sentence}"))
