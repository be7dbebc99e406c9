"""``tapehook audit``: all lenses of a rental house, worst first."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import progress, show_json, show_table
from tapehook.cli.prep_command import job_to_prepare, write_all
from tapehook.cli.refusals import Argument, Command, Option, folder_path, note_written, plain, read_paper

if TYPE_CHECKING:
    from tapehook.prep import Prep
    from tapehook.prep.audit import AuditRow

_EXAMPLE = """\b
Example:
  tapehook audit lens-store --out audit-2026-11
  tapehook audit lens-store --out audit-2026-11 --cores 1 --json
"""
SHOWN = 20
"""Lenses named on the terminal; the tables have them all."""


@click.command("audit", cls=Command, epilog=_EXAMPLE)
@click.argument("folder", cls=Argument, callback=folder_path)
@click.option(
    "--out", cls=Option, required=True, metavar="FOLDER", callback=folder_path, help="The folder to write the lists to."
)
@click.option("--cores", cls=Option, type=click.IntRange(1, 256), help="Cores to work on; otherwise all there are.")
@click.option(
    "--paper",
    cls=Option,
    metavar="a4|us-letter",
    callback=read_paper,
    help="Paper of the printed list; otherwise what job.toml says.",
)
@click.option(
    "--json", "as_json", cls=Option, is_flag=True, help="Print how the lenses stand as JSON (docs: Commands)."
)
@click.pass_context
def command(
    ctx: click.Context,
    folder: Path,
    out: Path,
    cores: int | None,
    paper: str | None,
    as_json: bool,  # noqa: FBT001 - click's signature
) -> None:
    """Check thousands of lenses at once, worst first.

    Writes audit.csv (a row for each lens), findings.csv, and technician.pdf, the list of what a lens technician should
    see to.
    """
    from tapehook.cli.processors import cores as all_cores
    from tapehook.cli.processors import over_cores
    from tapehook.handover.audit import render_audit
    from tapehook.prep import prepare
    from tapehook.prep.audit import audit_rows

    job = job_to_prepare(folder, out)
    with progress("checking lenses", quiet=as_json) as report:
        prep = prepare(job, report, brief=True, run=over_cores(cores or all_cores()))
    rows = audit_rows(prep)
    rendered = render_audit(prep, rows, paper="us-letter" if (paper or job.paper) == "us-letter" else "a4")
    written = write_all(rendered, out)
    note_written(ctx)
    if as_json:
        show_json(_as_json(rows, written))
    else:
        _show(prep, rows, written)


def _as_json(rows: Sequence["AuditRow"], written: Sequence[Path]) -> dict[str, Any]:
    from tapehook.prep.audit import kinds, states

    return {
        "lenses": len(rows),
        "states": dict(states(rows)),
        "findings": [{"severity": s, "code": code, "lenses": count} for s, code, count in kinds(rows)],
        "technician": [row.entry.lens.id for row in rows if row.technician],
        "worst_first": [
            {
                "lens": row.entry.lens.id,
                "state": row.state,
                "depth_used_percent": None if row.used is None else 100.0 * row.used,
                "stop": row.stop,
                "finding": row.findings[0].code if row.findings else None,
            }
            for row in rows
        ],
        "files": [str(path) for path in written],
    }


def _show(prep: "Prep", rows: Sequence["AuditRow"], written: Sequence[Path]) -> None:
    """The worst lenses, how all stand, and where the lists are."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from tapehook.finding import SIGN
    from tapehook.prep.audit import states

    bad = [row for row in rows if row.state in {"fix", "watch"}]
    if bad:
        table = Table(box=box.SIMPLE, pad_edge=False)
        for heading in ("finding", "lens", "worst finding"):
            table.add_column(heading, overflow="fold")
        for row in bad[:SHOWN]:
            worst = row.findings[0]
            cells = (f"{SIGN[worst.severity]} {row.state}", f"{row.entry.lens.id}, {row.entry.title}", worst.message)
            table.add_row(*(Text(plain(cell)) for cell in cells))
        show_table(table)
    counts = states(rows)
    if len(bad) > SHOWN:
        click.echo(f"And {len(bad) - SHOWN} more to fix or to watch: see audit.csv.")
    click.echo(
        f"{len(prep.lenses)} lenses: {counts['fix']} to fix, {counts['watch']} to watch, {counts['info']} for info, "
        f"{counts['clear']} with nothing found; {sum(bool(row.technician) for row in rows)} for the technician."
    )
    for path in written:
        click.echo(f"  {plain(str(path))}")
