"""``tapehook radio``: which channel each camera gets."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.console import show_findings, show_json, show_rows
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.prep.radio import RadioPrep

_EXAMPLE = """\b
Example:
  tapehook radio my-job
  tapehook radio my-job --json
"""


@click.command("radio", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option(
    "--keep",
    cls=Option,
    metavar="PLAN",
    callback=folder_path,
    help="Yesterday's plan: move as few cameras as possible.",
)
@click.option("--judge", cls=Option, metavar="PLAN", callback=folder_path, help="A plan to be judged as it stands.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(folder: Path, keep: Path | None, judge: Path | None, as_json: bool) -> None:  # noqa: FBT001
    """A channel for each camera that is allowed where you are and fights nobody.

    One channel for a camera: its hand unit and its receivers share it. Says the margin of the worst link, what no plan
    can be better than, and a channel to fall back on. PLAN is what --json printed, kept in a file.
    """
    if keep is not None and judge is not None:
        raise Refusal([OptionProblem("--judge", str(judge), "either a plan to judge or --keep")])
    from tapehook.job import read_job
    from tapehook.job.radio_plans import read_radio_plan
    from tapehook.prep.radio import plan_radio
    from tapehook.prep.radio_findings import radio_as_json

    job, given = read_job(folder), keep or judge
    plan = read_radio_plan(given) if given else None
    prep = plan_radio(job, keep=plan if keep else None, judge=plan if judge else None, file=given.name if given else "")
    if as_json:
        show_json(radio_as_json(prep))
    else:
        _show(prep)


def _show(prep: "RadioPrep") -> None:
    """The plan, the transmitter list when effects are on the call, findings, cautions, assumptions."""
    from tapehook.prep.radio_findings import cautions, radio_as_json, radio_findings

    shape, plan = radio_as_json(prep), prep.plan
    bound = "" if plan.bound_db is None else f", no plan exceeds {plan.bound_db:.1f} dB"
    worst = "no camera has a channel" if plan.worst_margin_db is None else f"worst margin {plan.worst_margin_db:.1f} dB"
    click.echo(plain(f"{prep.job.region}: {plan.status}, {worst}{bound}"))
    rows = [
        [letter, one["band"], str(one["channel"]), f"{one['centre_mhz']:g} MHz", f"{one['margin_db']:.1f} dB",
         _back(one["fallback"]), one["permit"]]
        for letter, one in shape["networks"].items()
    ]  # fmt: skip
    show_rows(("camera", "band", "channel", "centre", "margin", "fall back on", "region"), rows)
    if plan.moved:
        click.echo(plain(f"moved    {', '.join(plan.moved)}"))
    if prep.job.fired_effects:
        for one in shape["transmitters"]:
            held = "hand-held" if one["hand_held"] else "mounted"
            at = "no channel" if one["frequency_mhz"] is None else f"{one['frequency_mhz']:g} MHz"
            click.echo(plain(f"sends    {one['id']}: {at}, {one['eirp_dbm']:g} dBm EIRP, {held}"))
    show_findings(radio_findings(prep))
    for sentence in cautions(prep):
        click.echo(f"  ! {sentence}")
    for sentence in prep.assumptions:
        click.echo(f"  assumed: {sentence}")


def _back(fallback: dict[str, object] | None) -> str:
    return "none" if fallback is None else f"{fallback['channel']} at {fallback['band']} MHz"
