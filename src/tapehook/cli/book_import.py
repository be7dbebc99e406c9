"""``tapehook book import``: a job folder or a sheet of lenses into the book, with a preview first."""

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.book_options import book_option, by_option, json_option, moment_of, opened, show_rows, writer
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Misread, Option, OptionProblem, Refusal, plain

if TYPE_CHECKING:
    from tapehook.book.importing import Folder, ImportPlan
    from tapehook.book.matching import Answers, LensPlan
    from tapehook.book.store import Book
    from tapehook.job import Lens

_EXAMPLE = """\b
Example:
  tapehook book import my-job
  tapehook book import my-job --write --by Anna
  tapehook book import lenses.csv --write --json
"""


def _path(ctx: click.Context, param: click.Parameter, value: str) -> Path:
    if not value or "\0" in value:
        raise Misread(value, "the path of a job folder or a sheet", param, ctx)
    return Path(value)


@click.command("import", cls=Command, epilog=_EXAMPLE)
@click.argument("source", cls=Argument, callback=_path)
@click.option("--write", cls=Option, is_flag=True, help="Do it; without this, only show what would be done.")
@click.option("--name", cls=Option, metavar="NAME", help="Name of the job in the book; otherwise its title.")
@click.option(
    "--same",
    cls=Option,
    multiple=True,
    metavar="ID",
    help="This lens is the one of the book it looks like; repeatable.",
)
@click.option("--apart", cls=Option, multiple=True, metavar="ID", help="This lens is another one; repeatable.")
@click.option("--all-apart", cls=Option, is_flag=True, help="No lens is one that it only looks like.")
@click.option("--over", cls=Option, is_flag=True, help="The folder stands in place of what the book says of the job.")
@click.option("--join", cls=Option, is_flag=True, help="The folder stands in place of versions that were in conflict.")
@click.option(
    "--measured", "measured_at", cls=Option, metavar="DAY", callback=moment_of, help="When it was measured, if not now."
)
@click.option(
    "--temperature",
    "temperature_c",
    cls=Option,
    type=click.FloatRange(-100, 200),
    metavar="C",
    help="Temperature of the lenses, °C, where the readings do not say.",
)
@by_option
@book_option
@json_option
def command(
    source: Path,
    write: bool,  # noqa: FBT001
    name: str | None,
    same: tuple[str, ...],
    apart: tuple[str, ...],
    all_apart: bool,  # noqa: FBT001
    over: bool,  # noqa: FBT001
    join: bool,  # noqa: FBT001
    measured_at: datetime | None,
    temperature_c: float | None,
    by: str | None,
    where: str | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Take a job folder or a sheet of lenses (CSV or XLSX) into the book.

    Without --write only a preview is shown: what would be added, matched and refused. Lenses whose serial differs in
    case, spaces or dashes are offered as the same lens; you decide. A reading the folder has no more is withdrawn, and
    never deleted.
    """
    from tapehook.book.folders import source_of
    from tapehook.book.matching import Answers

    answers = Answers(frozenset(same), frozenset(apart), all_apart, over, join)
    folder, sheet = _read(source)
    _check_ids({lens.id for lens in (folder.job.lenses if folder else sheet)}, same, apart)
    with opened(where) as book:
        if write:
            with book.writing(writer(by, source_of(source), measured_at, temperature_c)) as writing:
                from tapehook.book.importing import carry_out

                plan = _plan(writing.connection, folder, sheet, answers, name)
                carry_out(writing, plan, folder)
        else:
            with book.reading() as connection:
                plan = _plan(connection, folder, sheet, answers, name)
        if as_json:
            show_json(_as_json(book, plan, written=write))
        else:
            _show(plan, written=write)


def _read(source: Path) -> "tuple[Folder | None, tuple[Lens, ...]]":
    """The folder, or the lenses of a sheet. Raises JobProblems."""
    from tapehook.book.folders import read_folder, read_sheet

    return (None, read_sheet(source)) if source.is_file() else (read_folder(source), ())


def _check_ids(known: set[str], same: tuple[str, ...], apart: tuple[str, ...]) -> None:
    wrong = [("--same", one) for one in same if one not in known] + [
        ("--apart", one) for one in apart if one not in known
    ]
    if wrong:
        raise Refusal([OptionProblem(option, one, "the id of a lens in the folder or sheet") for option, one in wrong])


def _plan(
    connection: Any,  # noqa: ANN401 - importing its type would load the database for --help
    folder: "Folder | None",
    sheet: "tuple[Lens, ...]",
    answers: "Answers",
    name: str | None,
) -> "ImportPlan":
    from tapehook.book.importing import plan_import, plan_sheet

    if folder is None:
        return plan_sheet(connection, sheet, answers)
    return plan_import(connection, folder, answers, name=name)


def _as_json(book: "Book", plan: "ImportPlan", *, written: bool) -> dict[str, Any]:
    return {
        "book": book.name,
        "job": plan.name or None,
        "written": written,
        "lenses": [
            {
                "id": one.row.id,
                "serial": one.row.serial,
                "verdict": one.verdict.replace(" ", "_"),
                "like": [lens.title for lens in one.like],
                "differs": [{"field": field, "book": said, "folder": given} for field, said, given in one.differs],
            }
            for one in plan.lenses
        ],
        "added": _counts(plan.added),
        "matched": _counts(plan.matched),
        "withdrawn": len(plan.gone),
        "problems": [problem.as_json() for problem in plan.problems],
    }


def _counts(counts: Any) -> dict[str, int]:  # noqa: ANN401 - a mapping
    from tapehook.book.measuring import TABLE_OF

    return {table: counts[kind] for kind, table in TABLE_OF.items()}


def _show(plan: "ImportPlan", *, written: bool) -> None:
    if plan.lenses:
        show_rows(("lens", "serial", "in the book", "remarks"), [_cells(one) for one in plan.lenses])
    added, matched = sum(plan.added.values()), sum(plan.matched.values())
    what = f"job {plan.name}" if plan.name else "sheet of lenses"
    verb = "Written" if written else "Would be written"
    new = sum(one.verdict == "new" for one in plan.lenses)
    click.echo(
        plain(
            f"{verb}: {what}: {new} new lenses, {len(plan.lenses) - new} known or in question; {added} readings and "
            f"tests new, {matched} there already, {len(plan.gone)} withdrawn or corrected."
        )
    )
    if plan.problems:
        click.echo("It would be refused:")
        for problem in plan.problems:
            click.echo(f"  {plain(problem.sentence())}")
    elif not written:
        click.echo("Nothing was written. With --write it is done.")


def _cells(one: "LensPlan") -> list[str]:
    said = {"new": "new", "matched": "matched", "serial read": "its serial was read", "question": "to be answered"}
    remarks = [f"{field}: the book keeps {book}, here {given}" for field, book, given in one.differs]
    remarks = [f"looks like {lens.title}" for lens in one.like if one.verdict == "question"] + remarks
    return [one.row.id, one.row.serial or "serial not read", said[one.verdict], "; ".join(remarks)]
