"""``tapehook flicker``: shutters and frame rates that pulsing light cannot show on."""

import math
from typing import Any

import click

from tapehook.cli.console import show_json
from tapehook.cli.refusals import Command, Option


@click.command(
    "flicker",
    cls=Command,
    epilog="""\b
Example:
  tapehook flicker --fps 24 --mains 50
  tapehook flicker --fps 24 --mains 60 --shutter 180deg --to-fps 48 --json
""",
)
@click.option("--fps", cls=Option, help="Frame rate: 24.  [required]")
@click.option("--mains", cls=Option, help="Mains frequency: 50 or 60. The light pulses twice as often.")
@click.option("--pulses", cls=Option, help="Pulses of light a second, in place of the mains: 100, 1200.")
@click.option("--shutter", cls=Option, help="A shutter to judge: 180deg, 1/48.")
@click.option("--to-fps", cls=Option, help="Frame rate a ramp ends at; with --shutter.")
@click.option("--tolerance", cls=Option, help="Stops from brightest to darkest frame that pass. Otherwise 0.05.")
@click.option("--depth", cls=Option, help="How far the light falls between pulses: 30 %. Otherwise to nothing.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(as_json: bool, **typed: str | None) -> None:  # noqa: FBT001 - click passes options by name
    """Safe shutter angles, times and frame rates for lamps on mains, or any pulse rate.

    A frame that is open for a whole number of pulses is safe whenever it begins. A ramp of speed is told where it
    crosses unsafe ground.
    """
    from tapehook.cli.flicker_answer import flicker_answer

    answer = flicker_answer(typed)
    if as_json:
        show_json(answer)
    else:
        _show(answer)


def _show(answer: dict[str, Any]) -> None:
    """The answer for people."""
    if not answer["safe"]:
        click.echo("no shutter is safe at this speed: a frame is shorter than a pulse")
    for one in answer["safe"]:
        low, high = one["from_deg"], one["to_deg"]
        click.echo(f"safe     {one['angle_deg']:.1f}° {one['time_text']:>9}   {low:.1f}° to {high:.1f}° pass")
    if answer["any_shutter_from_deg"] is not None:
        click.echo(f"safe     any shutter from {answer['any_shutter_from_deg']:.1f}° on: so many pulses even out")
    rates = ", ".join(f"{rate:.4g}" for rate in answer["safe_frame_rates_fps"])
    click.echo(f"in step  {rates} fps, any shutter")
    if answer["asked"]:
        asked = answer["asked"]
        verdict = "safe" if asked["safe"] else "not safe"
        click.echo(
            f"asked    {asked['text']}: {verdict}, {_stops(asked['ripple_stops'])} from brightest to darkest frame"
        )
    if answer["asked"] and answer["in_step"] and not answer["asked"]["safe"]:
        click.echo(f"         steady at {answer['fps']:g} fps all the same, while camera and mains stay in step")
    if answer["ramp"]:
        for stretch in answer["ramp"]["unsafe"]:
            ends = f"{stretch['from_fps']:.4g} to {stretch['to_fps']:.4g} fps"
            click.echo(f"unsafe   {ends}, up to {_stops(stretch['worst_stops'])}")
        click.echo(f"ramp     {answer['ramp']['text']}")
    for sentence in answer["assumptions"]:
        click.echo(f"  assumed: {sentence}")


def _stops(stops: float | None) -> str:
    return "all light" if stops is None or math.isinf(stops) else f"{stops:.2f} stop"
