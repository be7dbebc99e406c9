"""``tapehook exposure``: stop, EI, speed, shutter, filters and light, each from the others."""

from pathlib import Path

import click

from tapehook.cli.console import show_json
from tapehook.cli.refusals import Command, Option, folder_path, plain
from tapehook.finding import SIGN


@click.command(
    "exposure",
    cls=Command,
    epilog="""\b
Example:
  tapehook exposure --stop T4 --ei 800 --fps 24 --shutter 180deg
  tapehook exposure --ei 800 --fps 24 --shutter 172.8deg --nd 0.6 --light 500fc --json
""",
)
@click.option("--stop", cls=Option, help="T-stop: T4, T2.8 1/3.")
@click.option("--ei", cls=Option, help="Exposure index: 800.")
@click.option("--fps", cls=Option, help="Frame rate: 24. Not needed where the shutter is a time.")
@click.option("--shutter", cls=Option, help="Shutter angle or time: 180deg, 1/48.")
@click.option("--light", cls=Option, help="Light on the subject: 24fc, 250 lx.")
@click.option("--nd", cls=Option, multiple=True, help="ND by its density: 0.6, ND 1.2. May be given more than once.")
@click.option("--filter", "filters", cls=Option, multiple=True, help="Another filter: x2.5, 1 1/3 stops. The same.")
@click.option("--meter", cls=Option, help="Constant of the meter in lux seconds: 250. Otherwise 269, 25 fc seconds.")
@click.option("--tray", cls=Option, callback=folder_path, help="A job folder: which of its filters make the ND.")
@click.option("--lens", cls=Option, help="A lens of that job by its id: it opens so far and no farther.")
@click.option("--camera", cls=Option, help="Only the tray of that camera, and what is shared: A.")
@click.option("--depth", cls=Option, help="In place of --stop, with --lens: from near to far, 40cm.")
@click.option("--distance", cls=Option, help="Where that depth is wanted, from the image plane: 2.5m.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(
    nd: tuple[str, ...],
    filters: tuple[str, ...],
    tray: Path | None,
    lens: str | None,
    camera: str | None,
    as_json: bool,  # noqa: FBT001 - click passes options by name
    **typed: str | None,
) -> None:
    """Leave one of stop, EI, frame rate, shutter and light out, and it is solved.

    With all five and no ND, the ND that fits is solved; with an ND too, how far the exposure is off. Where it is off,
    the ways out are listed.
    """
    from tapehook.cli.exposure_answer import exposure_answer
    from tapehook.prep.exposure import exposure_as_json

    answer = exposure_answer(typed, nd, filters, tray, lens, camera)
    if as_json:
        show_json(exposure_as_json(answer))
        return
    click.echo(plain(f"{answer.solved:<9}{answer.text}"))
    for finding in answer.findings:
        click.echo(plain(f"  {SIGN[finding.severity]} {finding.message}"))
    for sentence in answer.ways_said:
        click.echo(f"  way out: {sentence}")
    for sentence in answer.assumptions:
        click.echo(f"  assumed: {sentence}")
