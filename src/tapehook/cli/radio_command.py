"""``tapehook radio``: which channel each camera gets."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import show_findings, show_json, show_rows
from tapehook.cli.refusals import (
    Argument,
    Command,
    Option,
    OptionProblem,
    Refusal,
    Together,
    folder_path,
    note_written,
    plain,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tapehook.prep.radio import RadioPrep, Taken
    from tapehook.radio.scan import Scan

_EXAMPLE = """\b
Example:
  tapehook radio my-job
  tapehook radio my-job --json > plan.json
  tapehook radio my-job --keep plan.json --taken 2450
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
@click.option(
    "--taken",
    cls=Option,
    multiple=True,
    metavar="MHZ",
    help="Somebody took it, as 2450 or 2440-2460: plan anew, moving as few as possible. May be said again.",
)
@click.option(
    "--scan",
    cls=Option,
    metavar="CSV",
    callback=folder_path,
    help="A scan: frequency and level in each line.",
)
@click.option(
    "--out",
    cls=Option,
    metavar="FILE",
    callback=folder_path,
    help="Write the plan, the transmitters and a walk-test sheet for each camera to this PDF.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(
    folder: Path,
    keep: Path | None,
    judge: Path | None,
    taken: tuple[str, ...],
    scan: Path | None,
    out: Path | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """A channel for each camera that is allowed where you are and fights nobody.

    One channel for a camera: its hand unit and its receivers share it. Says the margin of the worst link, what no plan
    can be better than, and a channel to fall back on. PLAN is what --json printed, kept in a file.
    """
    from tapehook.job import read_job
    from tapehook.job.radio_plans import read_radio_plan
    from tapehook.prep.radio import plan_radio
    from tapehook.prep.radio_as_json import radio_as_json

    together, given = Together(), keep or judge
    together.problems += _odd_options(keep, judge, taken, out)
    with together.part():
        job = read_job(folder)
    with together.part():
        plan = read_radio_plan(given) if given else None
    with together.part():
        taken_away = _taken(taken)
    with together.part():
        heard = _scan(scan)
    together.settle()
    prep = plan_radio(
        job,
        keep=plan if keep else None,
        judge=plan if judge else None,
        taken=taken_away,
        scan=heard,
        file=given.name if given else "",
    )
    if out is not None:
        _write(out, prep)
    if as_json:
        show_json(radio_as_json(prep))
    else:
        _show(prep)


def _odd_options(
    keep: Path | None, judge: Path | None, taken: tuple[str, ...], out: Path | None
) -> "Iterator[OptionProblem]":
    """Options that do not go together, and a file that cannot be written."""
    if keep is not None and judge is not None:
        yield OptionProblem("--judge", str(judge), "either a plan to judge or --keep")
    if judge is not None and taken:
        yield OptionProblem("--judge", str(judge), "either a plan to judge or --taken")
    if out is not None:
        from tapehook.cli.strip_options import check_file

        yield from check_file(out)


def _taken(said: tuple[str, ...]) -> "list[Taken]":
    """What somebody took. Refuses all that cannot be read at once."""
    from tapehook.prep.radio import TAKEN_EXPECTED, Taken

    found, problems = [], []
    for text in said:
        try:
            found.append(Taken.read(text))
        except ValueError:
            problems.append(OptionProblem("--taken", text, TAKEN_EXPECTED))
    if problems:
        raise Refusal(problems)
    return found


def _scan(path: Path | None) -> "Scan | None":
    """The scan in a file."""
    if path is None:
        return None
    from tapehook.job.radio_scans import read_scan
    from tapehook.job.sheets import read_bytes
    from tapehook.radio.scan import scan_of

    return scan_of(read_scan(read_bytes(path), path.name))


def _write(path: Path, prep: "RadioPrep") -> None:
    """Write the sheets whole, or leave an older file as it was."""
    from tapehook.handover.files import write_handover
    from tapehook.handover.radio_sheets import render_radio_sheets

    write_handover({path.name: render_radio_sheets(prep)}, path.parent)
    note_written(click.get_current_context())


def _show(prep: "RadioPrep") -> None:
    """The plan, its links, the transmitter list when effects are on the call, findings, cautions, assumptions."""
    from tapehook.prep.radio_as_json import radio_as_json
    from tapehook.prep.radio_findings import cautions, radio_findings

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
    links = [
        [letter, "to the camera" if link["from_hand"] else "to the hand unit", f"{link['distance_m']:.0f} m",
         f"{link['margin_db']:.1f} dB", f"{link['alone_db']:.1f} dB", _eaten(link["eaten_by"])]
        for letter, one in shape["networks"].items() for link in one["links"]
    ]  # fmt: skip
    show_rows(("camera", "link", "over", "margin", "alone", "what eats it"), links)
    for letter in plan.moved:
        old, new = plan.before[letter], plan.channels[letter]
        click.echo(plain(f"moved    {letter}: {old.centre_mhz:g} MHz to {new.centre_mhz:g} MHz"))
    if shape["next_best"]:
        click.echo(plain(f"next     {_next(shape['next_best'])}"))
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


def _eaten(by: list[dict[str, Any]]) -> str:
    return ", ".join(f"{one['name']} {one['takes_db']:.1f} dB" for one in by) or "nothing"


def _next(other: dict[str, Any]) -> str:
    """The next-best plan: what is other in it, and its worst margin."""
    others = [(letter, one) for letter, one in other["networks"].items() if one["moved"]]
    moved = [f"{letter} on {one['channel']} at {one['band']} MHz" for letter, one in others]
    return f"best plan but this: {', '.join(moved)}; worst margin {other['worst_margin_db']:.1f} dB"
