"""``tapehook book untie``: two lenses that were said to be one, and are not."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from tapehook.cli.book_history import lens_named
from tapehook.cli.book_options import book_option, by_option, json_option, opened, writer
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Misread, Option, plain

if TYPE_CHECKING:
    from tapehook.book.lenses import BookLens
    from tapehook.book.store import Book
    from tapehook.book.ties import Tie

_EXAMPLE = """\b
Example:
  tapehook book untie 4711
  tapehook book untie 4711 --tie 5d20b7e1 --why "another one" --by Anna --json
"""
_NOT_SAID = "they are not one lens"


def _why(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    if value is not None and (not value.strip() or not value.isprintable()):
        raise Misread(value, "a reason on one line", param, ctx)
    return value.strip() if value else None


@click.command("untie", cls=Command, epilog=_EXAMPLE)
@click.argument("words", cls=Argument, nargs=-1, required=True)
@click.option("--tie", cls=Option, metavar="ID", help="The tie to take back, named by its id or the end of it.")
@click.option("--why", cls=Option, metavar="TEXT", callback=_why, help="Why; it is kept.")
@by_option
@book_option
@json_option
def command(
    words: tuple[str, ...],
    tie: str | None,
    why: str | None,
    by: str | None,
    where: str | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Take back that two lenses are one; without --tie, show what ties a lens together, who said so and when.

    WORDS must find one lens, as for `tapehook book find`; or it is the id that --json gives. What was measured goes
    back to the lens it was written under; that they were one for a time stays known.
    """
    with opened(where) as book:
        lens_id = lens_named(book, " ".join(words))
        taken, lenses = _take_back(book, lens_id, tie, why, by) if tie is not None else (None, _lenses(book, lens_id))
        listed = _ties(book, lenses)
    if as_json:
        shown = [{"id": one.id.hex(), "title": one.title} for one in lenses]
        show_json(
            {
                "book": book.name,
                "untied": taken.as_json() if taken else None,
                "lenses": shown,
                "ties": [one.as_json() for one in listed],
            }
        )
    else:
        _show(taken, lenses, listed)


def _take_back(
    book: "Book", lens_id: bytes, ending: str, why: str | None, by: str | None
) -> "tuple[Tie, Sequence[BookLens]]":
    from tapehook.book.ties import take_back

    with book.writing(writer(by, "untied")) as writing:
        return take_back(writing, lens_id, ending, why or _NOT_SAID)


def _lenses(book: "Book", lens_id: bytes) -> "Sequence[BookLens]":
    """The lens of that id. Raises BookRefusal where the book has none."""
    from tapehook.book.lenses import lenses_of
    from tapehook.book.trouble import refusal

    with book.reading() as connection:
        found = lenses_of(connection, [lens_id]).get(lens_id)
    if found is None:
        raise refusal("lens", "there is no such lens in the book", "a lens of the book")
    return [found]


def _ties(book: "Book", lenses: "Sequence[BookLens]") -> "list[Tie]":
    from tapehook.book.ties import ties_of

    with book.reading() as connection:
        return [tie for lens in lenses for tie in ties_of(connection, lens.id)]


def _show(taken: "Tie | None", lenses: "Sequence[BookLens]", listed: "Sequence[Tie]") -> None:
    if taken:
        click.echo(plain(f"{taken.one} and {taken.other} are no longer tied."))
        if len(lenses) == 1:
            click.echo(plain(f"They are {lenses[0].title} still: another tie holds them together."))
    elif not listed:
        click.echo(plain(f"{lenses[0].title} is one lens by itself: nothing to take back."))
    for one in listed:
        when = one.written_at[:16].replace("T", " ")
        click.echo(plain(f"  {one.id.hex()[-8:]}  {one.one} is {one.other}: {one.reason}  ({one.who}, {when} UTC)"))
