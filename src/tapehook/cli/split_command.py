"""``tapehook split``: two or more subjects held by one setting."""

import math
from typing import Any

import click

from tapehook.cli.console import show_json
from tapehook.cli.refusals import Command, Option

_IMPERIAL = ("'", '"', "’", "”", "′", "″", "ft", "feet", "foot", "in")


@click.command(
    "split",
    cls=Command,
    epilog="""\b
Example:
  tapehook split --focal 50mm --stop T2 --at 2m --at 3m
  tapehook split --focal 35mm --stop T2.8 --at "6'" --at "9'6" --at inf --json
""",
)
@click.option("--focal", cls=Option, help="Focal length: 50mm.  [required]")
@click.option("--stop", cls=Option, help="Stop: T2, T2.8 1/3, f/4. The transmission turns a T-stop into an f-number.")
@click.option("--at", cls=Option, multiple=True, help="A subject, from the image plane: 7', 2.1 m, inf. Twice or more.")
@click.option("--f-number", cls=Option, help="f-number, overriding the one from the stop: 1.9.")
@click.option("--transmission", cls=Option, help="Share of light the lens passes: 0.85 or 85 %.")
@click.option("--coc", cls=Option, help="Largest blur that passes as sharp: 1/1000in. Otherwise 0.025mm.")
@click.option("--pupil-to-sensor", cls=Option, help="Entrance pupil to image plane at infinity: 41mm.")
@click.option("--pupil-magnification", cls=Option, help="Exit pupil over entrance pupil: 1.15.")
@click.option("--blur-floor", cls=Option, help="Blur left at best focus: 0.01mm.")
@click.option("--units", cls=Option, metavar="metric|imperial", help="How distances are printed; otherwise as typed.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(at: tuple[str, ...], as_json: bool, **typed: str | None) -> None:  # noqa: FBT001 - click passes options by name
    """Where to focus to hold two or more subjects, and the stop it takes.

    Distances run from the image plane. The setting is the middle of the subjects in vergence, where each end takes the
    same share of the depth.
    """
    from tapehook.cli.split_answer import split_answer

    answer = split_answer(at, typed)
    if as_json:
        show_json(answer)
        return
    imperial = any(sign in text.lower() for text in at if "inf" not in text.lower() for sign in _IMPERIAL)
    _show(answer, typed["units"] or ("imperial" if imperial else "metric"))


def _show(answer: dict[str, Any], system: str) -> None:
    """The answer for people."""
    from tapehook.notation import format_distance
    from tapehook.notation.stop import SMALLEST_NUMBER

    def say(metres: float | None) -> str:
        return format_distance(math.inf if metres is None else metres, "imperial" if system == "imperial" else "metric")

    used, needed, t_stop = answer["depth_used"], answer["f_number_needed"], answer["t_stop_needed"]
    stop = answer["stop"]
    click.echo(f"focus    {say(answer['focus_m'])}")
    if needed is None:
        click.echo("no stop holds them: the blur floor leaves no depth")
    elif t_stop < SMALLEST_NUMBER:
        click.echo("needs    any stop: they stand at one distance, or so near it that every lens holds them")
    else:
        spread = answer["uncertainty_percent"]
        sure = " +- cannot be told" if spread is None else f" +- {spread:.0f} %" if spread else ""
        click.echo(f"needs    f/{needed:.3g}, T{t_stop:.3g}{sure}")
    if used is not None:
        verdict = "holds" if answer["holds"] else "does not hold"
        click.echo(f"{stop:<8} {verdict}: nearest and farthest use {100 * used:.0f} % of the depth each")
    for sentence in answer["assumptions"]:
        click.echo(f"  assumed: {sentence}")
