"""``tapehook book settle``: what a person decides of a conflict."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.book_options import book_option, by_option, json_option, opened, writer
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Option, OptionProblem, Refusal, plain

if TYPE_CHECKING:
    from tapehook.book.conflicts import Conflict
    from tapehook.book.settling import Choice
    from tapehook.book.store import Book, Writer

_EXAMPLE = """\b
Example:
  tapehook book settle
  tapehook book settle 1f0c94aa --keep 5d20b7e1 --by Anna --json
"""


@click.command("settle", cls=Command, epilog=_EXAMPLE)
@click.argument("conflict", cls=Argument, required=False)
@click.option("--keep", cls=Option, metavar="VERSION", help="This version stands; the others stay in the history.")
@click.option("--same", cls=Option, is_flag=True, help="The lenses of one provisional serial are one lens.")
@click.option("--apart", cls=Option, is_flag=True, help="They are different lenses, until their serials are read.")
@by_option
@book_option
@json_option
def command(
    conflict: str | None,
    keep: str | None,
    same: bool,  # noqa: FBT001
    apart: bool,  # noqa: FBT001
    by: str | None,
    where: str | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Settle a CONFLICT, named by the end of its id; without one, show all that wait and what there is to choose from.

    What is not kept stays in the history, with who wrote it and when. A job that was changed on both sides is put
    together in a folder instead: book export --version, then book import --join.
    """
    chosen = [name for name, said in (("--keep", keep is not None), ("--same", same), ("--apart", apart)) if said]
    if len(chosen) > 1 or (chosen and conflict is None):
        said = "say one of --keep, --same and --apart, and of which conflict"
        raise Refusal([OptionProblem(chosen[-1], None, "one decision on one conflict", said)])
    with opened(where) as book:
        settled = None
        if conflict is not None and chosen:
            settled = _settle(book, conflict, keep, writer(by, "settled"), same=same)
        waiting = _waiting(book, None if settled else conflict)
    if as_json:
        show_json({"book": book.name, "settled": settled, "conflicts": [_as_json(*one) for one in waiting.items()]})
    else:
        _show(settled, waiting)


def _settle(book: "Book", ending: str, keep: str | None, by: "Writer", *, same: bool) -> str:
    """Write down what was decided. The id of the conflict."""
    from tapehook.book.settling import find_conflict, keep_version, say_apart, say_same

    with book.writing(by) as writing:
        found = find_conflict(writing.connection, ending, book.name)
        if keep is not None:
            keep_version(writing, found, keep)
        elif same:
            say_same(writing, found)
        else:
            say_apart(writing, found)
    return found.id.hex()


def _waiting(book: "Book", ending: str | None) -> "Mapping[Conflict, Sequence[Choice]]":
    from tapehook.book.conflicts import conflicts
    from tapehook.book.settling import choices, find_conflict

    with book.reading() as connection:
        found = conflicts(connection) if ending is None else [find_conflict(connection, ending, book.name)]
        return {one: choices(connection, one) for one in found}


def _as_json(conflict: "Conflict", choices: "Sequence[Choice]") -> dict[str, Any]:
    return {**conflict.as_json(), "choices": [one.as_json() for one in choices]}


def _show(settled: str | None, waiting: "Mapping[Conflict, Sequence[Choice]]") -> None:
    if settled:
        click.echo(f"Settled: {settled[-8:]}.")
    if not waiting:
        click.echo("Nothing waits for a person.")
        return
    click.echo(f"{len(waiting)} {'conflict waits' if len(waiting) == 1 else 'conflicts wait'} for a person:")
    for conflict, choices in waiting.items():
        click.echo(plain(f"  {conflict.id.hex()[-8:]}  {conflict.subject}: {conflict.message}"))
        for one in choices:
            by = f"  ({one.who}, {one.written_at[:16].replace('T', ' ')} UTC)" if one.who and one.written_at else ""
            click.echo(plain(f"    {one.id}  {one.said}{by}"))
        click.echo(plain(f"    → {conflict.next_step}"))
