"""``tapehook demo``: prepare the demo job that comes with tapehook."""

from pathlib import Path

import click

from tapehook.cli.console import note_json


@click.command("demo", epilog="\b\nExample:\n  tapehook demo --out demo-out")
@click.option(
    "--out", default="demo-out", show_default=True, type=click.Path(path_type=Path), help="Folder to write to."
)
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="Paper of the PDF.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON, as prep does.")
@click.pass_context
def command(ctx: click.Context, out: Path, paper: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Prepare the demo job that comes with tapehook.

    Writes its handover and a copy of its job folder, to edit and prepare again with `tapehook prep`.
    """
    from importlib.resources import as_file, files

    from tapehook.cli.prep_command import prepare_folder
    from tapehook.handover.files import check_target, copy_job_folder

    note_json(ctx, as_json=as_json)
    check_target(out)
    with as_file(files("tapehook") / "demo_job") as source:
        job_folder = copy_job_folder(source, out / "job")
    prepare_folder(job_folder, out, paper, as_json=as_json)
    if not as_json:
        click.echo(
            f"The job folder is {job_folder}: copy it, put your readings in, then: tapehook prep FOLDER --out DIR"
        )
