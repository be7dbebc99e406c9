"""``tapehook book serial``: the serial of a lens that nobody could read before."""

import click

from tapehook.cli.book_history import lens_named
from tapehook.cli.book_options import book_option, by_option, json_option, opened, writer
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Misread, Option, plain

_EXAMPLE = """\b
Example:
  tapehook book serial 4711 harbour serial not read
  tapehook book serial 4711 0199c3a2b1f87d3e9a40c5d2e6f70812 --by Anna --json
"""


def _serial(ctx: click.Context, param: click.Parameter, value: str) -> str:
    if not value.strip() or not value.isprintable():
        raise Misread(value, "a serial number on one line", param, ctx)
    return value.strip()


@click.command("serial", cls=Command, epilog=_EXAMPLE)
@click.argument("serial", cls=Argument, callback=_serial)
@click.argument("words", cls=Argument, nargs=-1, required=True)
@click.option("--apart", cls=Option, is_flag=True, help="It is another lens than the one whose serial looks like it.")
@by_option
@book_option
@json_option
def command(
    serial: str,
    words: tuple[str, ...],
    apart: bool,  # noqa: FBT001
    by: str | None,
    where: str | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Exchange the provisional serial of a lens for SERIAL, which was read at last: its history stays with it.

    WORDS must find one lens, as for `tapehook book find`; or it is the id that --json gives. Where the book has the
    lens of that model and serial, the two are one from now on.
    """
    from tapehook.book.lenses import lenses_of
    from tapehook.book.settling import exchange_serial

    with opened(where) as book:
        lens_id = lens_named(book, " ".join(words))
        with book.reading() as connection:
            before = lenses_of(connection, [lens_id]).get(lens_id)
        with book.writing(writer(by, "serial read")) as writing:
            found = exchange_serial(writing, lens_id, serial, apart=apart)
        lens, was = found.lens, before.title if before else ""
        if as_json:
            shown = {
                "id": lens.id.hex(),
                "title": lens.title,
                "was": was,
                "serial": lens.serial,
                "joined": found.joined,
            }
            show_json({"book": book.name, **shown})
            return
    click.echo(plain(f"{was} is now {lens.title}."))
    if found.joined:
        click.echo("The book had that lens: its history and this one are told together from now on.")
