"""``tapehook depth``: depth of field for one lens, stop and distance."""

import math
from functools import partial
from typing import Any

import click

from tapehook.cli.console import show_json
from tapehook.cli.refusals import Command, Option

_IMPERIAL = ("'", '"', "’", "”", "′", "″", "ft", "feet", "foot", "in")


_CHART_EXAMPLE = (
    "  tapehook depth --focal 25mm --stop T2 --distance 1m --chart-width 220mm --frame-fill 25% "
    "--sensor-width 24.89mm --chart-distance 1m\n"
)


@click.command(
    "depth",
    cls=Command,
    epilog="""\b
Example:
  tapehook depth --focal 50mm --stop T2 --distance "7'"
  tapehook depth --focal 35mm --f-number 2 --distance "1.2 m" --pupil-to-sensor 52mm --pupil-magnification 7.2
"""
    + _CHART_EXAMPLE,
)
@click.option("--focal", cls=Option, help="Focal length: 50mm.  [required]")
@click.option("--stop", cls=Option, help="Stop: T2, T2.8 1/3, f/4. The transmission turns a T-stop into an f-number.")
@click.option("--distance", cls=Option, help="Focus distance from the image plane: 7', 5'6\", 1.68 m, inf.  [required]")
@click.option("--f-number", cls=Option, help="f-number, overriding the one from the stop: 1.9.")
@click.option("--transmission", cls=Option, help="Share of light the lens passes: 0.85 or 85 %.")
@click.option("--coc", cls=Option, help="Largest blur that passes as sharp: 1/1000in. Otherwise 0.025mm.")
@click.option("--pupil-to-sensor", cls=Option, help="Entrance pupil to image plane at infinity: 41mm.")
@click.option("--pupil-magnification", cls=Option, help="Exit pupil over entrance pupil: 1.15.")
@click.option("--chart-width", cls=Option, help="Width of a chart in focus, instead of pupil data: 400mm.")
@click.option("--frame-fill", cls=Option, help="Part of the image width the chart fills: 25 %.")
@click.option("--sensor-width", cls=Option, help="Width of the recorded area: 24.89mm.")
@click.option("--chart-distance", cls=Option, help="Where the chart stood, from the image plane: 1.2 m.")
@click.option("--blur-floor", cls=Option, help="Blur left at best focus: 0.01mm.")
@click.option("--missed-mark", cls=Option, help="How far marks are missed, one standard deviation. Otherwise 10cm.")
@click.option("--lean", cls=Option, help="How far somebody leans. Otherwise 5cm.")
@click.option("--sway", cls=Option, help="How far somebody sways. Otherwise 1cm.")
@click.option("--extender", cls=Option, help="An extender behind the lens: 1.4x, 2x.")
@click.option("--extender-length", cls=Option, help="How long it is, mount to mount: 30mm. Otherwise 0.")
@click.option("--port", cls=Option, help="A port under water: flat, or the radius of a dome: 100mm.")
@click.option("--port-front", cls=Option, help="From the image plane to its outer face: 180mm.")
@click.option("--port-glass", cls=Option, help="How thick its glass is: 10mm. Otherwise thin.")
@click.option("--water", cls=Option, metavar="fresh|sea", help="The water; otherwise fresh.")
@click.option(
    "--units",
    cls=Option,
    metavar="metric|imperial",
    help="How distances are printed; otherwise as typed.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(as_json: bool, **typed: str | None) -> None:  # noqa: FBT001 - click passes options by name
    """Depth of field for one lens, stop and distance.

    Distances run from the image plane. Exact with pupil data; without, the answer is a thin lens's, with its
    uncertainty beside it.
    """
    from tapehook.cli.depth_answer import depth_answer

    answer = depth_answer(**typed)
    if as_json:
        show_json(answer)
        return
    distance = (typed["distance"] or "").lower()
    imperial = "inf" not in distance and any(sign in distance for sign in _IMPERIAL)
    _show(answer, typed["units"] or ("imperial" if imperial else "metric"))


def _show(answer: dict[str, Any], system: str) -> None:
    """The answer for people, distances in one system."""
    from tapehook.notation import format_distance, format_small_length

    def say(metres: float | None) -> str:
        shown = math.inf if metres is None else max(metres, 1e-3)  # behind the image plane there is nothing to see
        return format_distance(shown, "imperial" if system == "imperial" else "metric")

    spread = answer["uncertainty_percent"]
    sure = (
        "cannot be told" if spread is None else f"+- {spread:.0f} % of the width" if spread else "exact for these data"
    )
    total = answer["total_m"]
    click.echo(
        f"{answer['focal_mm']:g} mm at {answer['stop']} (f/{answer['f_number']:.3g}), focus {say(answer['distance_m'])}"
    )
    click.echo(f"  near        {say(answer['near_m'])}")
    click.echo(f"  far         {say(answer['far_m'])}")
    click.echo(f"  in all      {'∞' if total is None else say(total) if total > 0 else '0'}   ({sure})")
    click.echo(f"  hyperfocal  {say(answer['hyperfocal_m'])}")
    click.echo(f"  half-width  {answer['half_width_dpt']:.4g} dpt, working f-number {answer['working_f_number']:.3g}")
    small = partial(format_small_length, system="imperial" if system == "imperial" else "metric")
    click.echo(f"  forgives    {small(answer['nearer_m'])} nearer, {small(answer['farther_m'])} farther")
    click.echo(
        f"  chance      {100 * answer['chance_sharp']:.0f} % to be sharp, straying {small(answer['strays_m'])} (one sd)"
    )
    from tapehook.cli.depth_through import lines

    for line in lines(answer, system):
        click.echo(line)
    for sentence in answer["assumptions"]:
        click.echo(f"  assumed: {sentence}")
