"""``tapehook handover``: the full handover of a job, for everyone who takes over."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import progress, show_json, waiting
from tapehook.cli.prep_command import folder_or_job, one_of_both
from tapehook.cli.refusals import (
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
    from collections.abc import Sequence

    from tapehook.handover.pack import PackStrips, PackWish
    from tapehook.job import Job
    from tapehook.prep import Prep

_EXAMPLE = """\b
Example:
  tapehook handover my-job --out my-handover
  tapehook handover my-job --out my-handover --paper us-letter --diameter 80mm --url https://prep.example/pocket/my-job
  tapehook handover --job "Harbour, unit 1" --radio plan.json --out my-handover
"""
_ADDRESS = re.compile(r"https?://[^\s/?#]+[^\s]*", re.ASCII)


@click.command("handover", cls=Command, epilog=_EXAMPLE)
@folder_or_job
@click.option(
    "--out", cls=Option, required=True, metavar="FOLDER", callback=folder_path, help="The folder it is written to."
)
@click.option(
    "--paper",
    cls=Option,
    metavar="a4|us-letter",
    callback=read_paper,
    help="Paper of the PDF; otherwise what job.toml says.",
)
@click.option("--diameter", cls=Option, help="Diameter of the focus rings lenses.csv says nothing of: 80mm.")
@click.option("--left-handed", cls=Option, is_flag=True, help="Strips with infinity on the left.")
@click.option(
    "--units",
    cls=Option,
    metavar="ft|m|both",
    callback=one_of("ft", "m", "both"),
    help="Feet, metres or both on the strips; otherwise those of each lens.",
)
@click.option("--url", cls=Option, help="Address of the pocket page, printed as a QR code.")
@click.option(
    "--radio",
    cls=Option,
    metavar="PLAN",
    callback=folder_path,
    help="The radio plan, as tapehook radio --json printed it: each camera's channel.",
)
@click.option(
    "--photos",
    cls=Option,
    metavar="FOLDER",
    callback=folder_path,
    help="The folder that names of photos start from; otherwise the job folder.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print what was written as JSON (docs: Commands).")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    folder: Path | None,
    out: Path,
    as_json: bool,  # noqa: FBT001 - click's signature
    **typed: Any,  # noqa: ANN401 - click passes options by name
) -> None:
    """The full handover of a job, for everyone who takes over.

    The PDF has a cover, contents, a page for a day player, a checklist to sign, the lens technician's list, a page for
    each camera and lens, and strips at 1:1; of a job of the book also who signed what off, and when. Beside it: the
    pocket page, and every table as CSV and in one workbook.
    """
    from tapehook.cli.prep_command import write_all
    from tapehook.handover.files import render_full_handover
    from tapehook.prep import prepare

    job, wish = _read(folder, out, typed)
    wish = _with_plans(wish, folder, typed)
    wish = _with_photos(wish, job, typed["photos"] or folder, quiet=as_json)
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report)
    with waiting("making the PDF, the pocket page and the tables", quiet=as_json):
        rendered, strips = render_full_handover(prep, wish)
        written = write_all(rendered, out)
    note_written(ctx)
    if as_json:
        show_json(_as_json(prep, strips, written, wish))
    else:
        _show(prep, strips, written)
        for lens_id, name in wish.missing_photos:
            click.echo(plain(f"  photo of {lens_id} is not in the job folder: {name}"))
        for finding in wish.photos.findings:
            click.echo(plain(f"  {finding.message} {finding.next_step}"))


def _read(folder: Path | None, out: Path, typed: dict[str, Any]) -> "tuple[Job, PackWish]":
    """The job and what is wanted of its pack. Raises Refusal with all that is wrong."""
    import math

    from tapehook.cli.prep_command import job_of_book, job_to_prepare
    from tapehook.cli.strip_options import strip_options
    from tapehook.handover.pack import PackWish
    from tapehook.handover.qr import MOST_SIGNS
    from tapehook.job import Job
    from tapehook.job.signed import SignedOff

    one_of_both(folder, typed["job_name"])
    asked = strip_options(typed)
    problems: list[Problem] = list(asked.problems)
    url = typed["url"]
    if url is not None and (not _ADDRESS.fullmatch(url) or len(url) > MOST_SIGNS):
        expected = f"an address such as https://prep.example/pocket, at most {MOST_SIGNS} signs"
        problems.append(OptionProblem("--url", url, expected))
    job, signed = Job(), tuple[SignedOff, ...]()
    try:
        if folder is not None:
            job = job_to_prepare(folder, out)
        else:
            job, signed = job_of_book(typed["job_name"], typed["where"], out)
    except Refusal as found:
        problems += found.problems
    if typed["photos"] is not None and not typed["photos"].is_dir():
        problems.append(OptionProblem("--photos", str(typed["photos"]), "a folder that is there"))
    channels, wrong = _channels(typed["radio"], {camera.letter for camera in job.cameras})
    problems += wrong
    if problems:
        raise Refusal(problems)
    around = asked.circumference_mm
    return job, PackWish(
        "a4" if (typed["paper"] or job.paper) == "a4" else "us-letter",
        None if around is None else around / math.pi,
        asked.left_handed,
        asked.units,
        url,
        signed,
        channels,
    )


def _with_plans(wish: "PackWish", folder: Path | None, typed: dict[str, Any]) -> "PackWish":
    """The same with the plans of the job's shots, and what these hand on. Raises Refusal or JobProblems."""
    from dataclasses import replace

    from tapehook.job.shot_files import shot_texts
    from tapehook.job.shots import shots_in
    from tapehook.job.stop_pulls import stop_pulls_in
    from tapehook.job.takes import told_in

    if folder is not None:
        texts = shot_texts(folder)
    else:
        from tapehook.book.jobs import shot_texts_of
        from tapehook.book.store import open_book

        with open_book(typed["where"]) as book:
            texts = shot_texts_of(book, typed["job_name"])
    plans, unread = shots_in(texts)
    pulls, wrong = stop_pulls_in(texts)
    told, unclear = told_in(texts)
    all_wrong = tuple(dict.fromkeys((*unread, *wrong, *unclear)))
    return replace(wish, plans=plans, plans_unread=all_wrong, stop_pulls=pulls, shots=told)


def _with_photos(wish: "PackWish", job: "Job", folder: Path | None, *, quiet: bool) -> "PackWish":
    """The same with the photos of the job's lenses, read from ``folder``; a job of the book may have none."""
    from dataclasses import replace

    from tapehook.handover.photos import condition_photos
    from tapehook.job.photo_files import missing_photos

    if folder is None:
        return wish
    with progress("fitting photos", quiet=quiet) as report:
        photos = condition_photos(job, folder, report)
    return replace(wish, photos=photos, missing_photos=tuple(missing_photos(job, folder)))


def _channels(plan: Path | None, cameras: set[str]) -> "tuple[dict[str, tuple[str, int]], list[Problem]]":
    """Band and channel by camera from a file of a plan, and what is wrong with it."""
    from tapehook.job import JobProblems
    from tapehook.job.radio_plans import read_radio_plan

    if plan is None:
        return {}, []
    try:
        channels = read_radio_plan(plan)
    except JobProblems as found:
        return {}, list(found.problems)
    strange = sorted(set(channels) - cameras) if cameras else []
    expected = f"a plan for cameras of the job: {', '.join(sorted(cameras))}"
    return channels, [OptionProblem("--radio", letter, expected) for letter in strange]


def _as_json(prep: "Prep", strips: "PackStrips", written: "Sequence[Path]", wish: "PackWish") -> dict[str, Any]:
    counts = {kind: sum(finding.severity == kind for finding in prep.findings) for kind in ("fix", "watch", "info")}
    return {
        "lenses": len(prep.lenses),
        "cameras": len(prep.cameras),
        "findings": counts,
        "strips": [one.lens_id for one in strips.made],
        "in_proportion": [one.lens_id for one in strips.in_proportion],
        "no_strips": [{"lens": lens_id, "reason": reason} for lens_id, reason in strips.refused],
        "photos": [{"lens": one.lens_id, "photo": one.name, "when": one.when} for one in wish.photos.shown],
        "photos_not_shown": [finding.as_json() for finding in wish.photos.findings],
        "missing_photos": [{"lens": lens_id, "photo": name} for lens_id, name in wish.missing_photos],
        "files": [str(path) for path in written],
    }


def _strips_sentence(strips: "PackStrips") -> str:
    if not strips.made:
        return "No strip at 1:1: give the diameter of the rings."
    return f"{len(strips.made)} strips at 1:1: print their pages at 100 % and check the bar."


def _show(prep: "Prep", strips: "PackStrips", written: "Sequence[Path]") -> None:
    """How many strips there are, why others are not, and where the files are."""
    from tapehook.cli.console import show_summary

    click.echo(_strips_sentence(strips))
    reasons: dict[str, list[str]] = {}
    for lens_id, reason in strips.refused:
        reasons.setdefault(reason, []).append(lens_id)
    for reason, lens_ids in reasons.items():
        few = ", ".join(lens_ids[:8]) + (f" and {len(lens_ids) - 8} more" if len(lens_ids) > 8 else "")
        click.echo(plain(f"  no strip at 1:1 for {few}: {reason}"))
    show_summary(prep, written)
