"""``tapehook book new``: make a book."""

import click

from tapehook.cli.book_options import book_option, json_option
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Command, plain

_EXAMPLE = """\b
Example:
  tapehook book new
  tapehook book new --book house.book --json
"""


@click.command("new", cls=Command, epilog=_EXAMPLE)
@book_option
@json_option
def command(where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Make a new, empty book.

    What is in that place already is left alone: then there is nothing to make.
    """
    from tapehook.book.store import new_book

    with new_book(where) as book:
        if as_json:
            show_json({"book": book.name, "id": book.id.hex()})
        else:
            click.echo(plain(f"A new book: {book.name}"))
