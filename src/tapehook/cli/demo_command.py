"""``tapehook demo``: prepare the demo job that comes with tapehook."""

from pathlib import Path

import click

from tapehook.cli.refusals import Command, Option, folder_path, plain, read_paper


@click.command("demo", cls=Command, epilog="\b\nExample:\n  tapehook demo --out demo-out")
@click.option(
    "--out",
    cls=Option,
    default="demo-out",
    show_default=True,
    metavar="FOLDER",
    callback=folder_path,
    help="The folder to write to.",
)
@click.option("--paper", cls=Option, metavar="a4|us-letter", callback=read_paper, help="Paper of the PDF.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print what was found as JSON, as prep does.")
@click.pass_context
def command(ctx: click.Context, out: Path, paper: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Prepare the demo job that comes with tapehook.

    Writes its handover and a copy of its job folder, to edit and prepare again with `tapehook prep`.
    """
    from importlib.resources import as_file, files

    from tapehook.cli.prep_command import prepare_folder
    from tapehook.handover.files import copy_job_folder

    job_folder = out / "job"
    with as_file(files("tapehook") / "demo_job") as source:
        # A job folder left by an earlier demo may have been edited: then it is that one that is prepared.
        prepare_folder(ctx, job_folder if job_folder.exists() else source, out, paper, as_json=as_json)
        copy_job_folder(source, job_folder)
    if not as_json:
        click.echo(
            f"The job folder is {plain(str(job_folder))}: copy it, put your readings in, "
            "then: tapehook prep FOLDER --out DIR"
        )
