"""``tapehook prep``: prepare a job folder and write its handover."""

from pathlib import Path

import click

from tapehook.cli.console import note_json, progress, show_findings, show_json, show_summary

_EXAMPLE = """\b
Example:
  tapehook prep my-job --out my-handover
  tapehook prep my-job --out my-handover --paper us-letter --json
"""


@click.command("prep", epilog=_EXAMPLE)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder the handover is written to.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="Paper of the PDF; otherwise what job.toml says.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON (docs: Commands).")
@click.pass_context
def command(ctx: click.Context, folder: Path, out: Path, paper: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Prepare a job folder and write its handover: PDF, pocket page, tables.

    Every lens is mapped and judged for the stop the job is shot at. Nothing is written when the folder has problems.
    """
    note_json(ctx, as_json=as_json)
    prepare_folder(folder, out, paper, as_json=as_json)


def prepare_folder(folder: Path, out: Path, paper: str | None, *, as_json: bool) -> None:
    """Read, prepare, write, print: what ``prep`` and ``demo`` share."""
    from tapehook.handover.files import check_target, render_handover, write_handover
    from tapehook.job import read_job
    from tapehook.prep import prepare

    job = read_job(folder)
    check_target(out)
    with progress("mapping lenses", quiet=as_json) as report:
        prep = prepare(job, report)
    written = write_handover(render_handover(prep, paper), out)
    if as_json:
        show_json({**prep.as_json(), "files": [str(path) for path in written]})
        return
    show_findings([finding for finding in prep.findings if finding.severity != "info"])
    show_summary(prep, written)
