"""What the commands of the book share: their options, opening the book, and words for what is in it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.console import show_table
from tapehook.cli.refusals import Misread, Option, plain

if TYPE_CHECKING:
    from tapehook.book.conflicts import Conflict
    from tapehook.book.store import Book, Writer

Function = Callable[..., Any]


def book_option(function: Function) -> Function:
    """The option that names the book."""
    said = "The book: a path, or postgresql://server/name; otherwise TAPEHOOK_BOOK, else the one in your data folder."
    return click.option("--book", "where", cls=Option, metavar="PATH|URL", help=said)(function)


def json_option(function: Function) -> Function:
    """The option that asks for JSON."""
    said = "Print the outcome as JSON (docs: Commands of the book)."
    return click.option("--json", "as_json", cls=Option, is_flag=True, help=said)(function)


def by_option(function: Function) -> Function:
    """The option that says who writes."""
    said = "Who writes; otherwise the name you are logged in by."
    return click.option("--by", cls=Option, metavar="NAME", callback=_one_line, help=said)(function)


def _one_line(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    if value is not None and (not value.strip() or not value.isprintable()):
        raise Misread(value, "a name on one line", param, ctx)
    return value


def moment_of(ctx: click.Context, param: click.Parameter, value: str | None) -> datetime | None:
    """Callback of an option: a day, or a day and time, here unless it says its time zone."""
    if value is None:
        return None
    try:
        found = datetime.fromisoformat(value)
        return (found if found.tzinfo else found.astimezone()).astimezone(UTC)
    except (ValueError, OverflowError):
        raise Misread(
            value, "a day such as 2026-03-14, or a day and time such as 2026-03-14T09:30", param, ctx
        ) from None


def writer(
    by: str | None, source: str, measured_at: datetime | None = None, temperature_c: float | None = None
) -> "Writer":
    """Who writes, from where."""
    from tapehook.book.store import Writer, person

    return Writer(by or person(), source, measured_at=measured_at, temperature_c=temperature_c)


@contextmanager
def opened(where: str | None) -> Iterator["Book"]:
    """The book, open. Raises BookRefusal."""
    from tapehook.book.store import open_book

    with open_book(where) as book:
        if book.read_only:
            click.echo(plain(f"{book.name}: {book.read_only}; it is open for reading only."), err=True)
        yield book


def show_rows(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A plain table."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        table.add_row(*(Text(plain(cell)) for cell in row))
    show_table(table)


def show_records(counts: Mapping[str, int], verb: str) -> None:
    """How many records of each kind."""
    from tapehook.book.tables import counted

    click.echo(f"{verb}: {counted(counts) or 'nothing'}.")


def show_conflicts(found: "Sequence[Conflict]") -> None:
    """What people have to decide."""
    if not found:
        return
    click.echo(f"{len(found)} {'conflict waits' if len(found) == 1 else 'conflicts wait'} for a person:")
    for one in found:
        click.echo(plain(f"  {one.subject}: {one.message}"))
        click.echo(plain(f"    → {one.next_step}"))
