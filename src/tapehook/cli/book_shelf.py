"""``tapehook book shelf``: shelves, what stands on them, and where a camera's next change of lens starts."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from tapehook.cli.book_history import lens_named
from tapehook.cli.book_options import book_option, by_option, json_option, opened, show_rows, writer
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Misread, Option, OptionProblem, Refusal

if TYPE_CHECKING:
    from tapehook.book.shelving import ShelfShown
    from tapehook.book.store import Book, Writing

_EXAMPLE = """\b
Example:
  tapehook book shelf "Truck / A camera" --new --put 50417 --pin 50422
  tapehook book shelf "Truck / A camera" --camera A --job "Ninety Herons, prep" --json
"""


@dataclass(frozen=True, slots=True)
class _Wish:
    """What becomes of a shelf. Lenses by the words they were typed with."""

    shelf: str
    new: bool
    name: str | None
    into: str | None
    put: tuple[str, ...]
    pin: tuple[str, ...]
    take: tuple[str, ...]
    camera: str | None
    job: str | None

    @property
    def writes(self) -> bool:
        """True when anything is to be written."""
        said = (self.new, self.name is not None, self.into is not None, self.put, self.pin, self.take, self.camera)
        return any(said)


def _name(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    if value is not None and (not value.isprintable() or "/" in value or not value.strip()):
        raise Misread(value, "a name on one line without a slash", param, ctx)
    return value


@click.command("shelf", cls=Command, epilog=_EXAMPLE)
@click.argument("shelf", cls=Argument, required=False)
@click.option("--new", cls=Option, is_flag=True, help="Make it, and the shelves around it that are not there.")
@click.option("--name", cls=Option, metavar="NAME", callback=_name, help="Call it so from now on.")
@click.option("--into", cls=Option, metavar="SHELF", help="Move it into another shelf; / moves it out of all.")
@click.option("--put", cls=Option, metavar="WORDS", multiple=True, help="Put this lens on it; words that find it.")
@click.option("--pin", cls=Option, metavar="WORDS", multiple=True, help="Put this lens on it, pinned to the top.")
@click.option("--take", cls=Option, metavar="WORDS", multiple=True, help="Take this lens off.")
@click.option("--camera", cls=Option, metavar="LETTER", help="This camera's next change of lens starts here.")
@click.option("--job", cls=Option, metavar="NAME", help="The job of that camera.")
@by_option
@book_option
@json_option
def command(
    shelf: str | None,
    new: bool,  # noqa: FBT001
    name: str | None,
    into: str | None,
    put: tuple[str, ...],
    pin: tuple[str, ...],
    take: tuple[str, ...],
    camera: str | None,
    job: str | None,
    by: str | None,
    where: str | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Show all shelves, or SHELF, named by its path or name, with what stands on it; or change it.

    A shelf may stand in another: "Truck / A camera". A lens stands on one shelf at a time.
    """
    wish = _Wish(shelf or "", new, name, into, put, pin, take, camera, job)
    if wish.writes and shelf is None:
        raise Refusal([OptionProblem("SHELF", None, "the shelf that is changed", "say which shelf")])
    if (camera is None) != (job is None):
        raise Refusal([OptionProblem("--camera", camera, "a camera and its job", "--camera and --job go together")])
    with opened(where) as book:
        shown = _change(book, wish, by) if wish.writes else _look(book, shelf)
        if as_json:
            show_json({"book": book.name, "shelves": [one.as_json() for one in shown]})
            return
    _show(shown)


def _look(book: "Book", shelf: str | None) -> "list[ShelfShown]":
    from tapehook.book.shelving import find_shelf, shelves_shown

    with book.reading() as connection:
        return shelves_shown(connection, None if shelf is None else [find_shelf(connection, shelf, book.name).id])


def _change(book: "Book", wish: _Wish, by: str | None) -> "list[ShelfShown]":
    """All of it or nothing."""
    from tapehook.book.shelving import find_shelf, make_shelf, shelves_shown, start_camera_at

    named = {words: lens_named(book, words) for words in (*wish.put, *wish.pin, *wish.take)}
    with book.writing(writer(by, "shelf")) as writing:
        connection = writing.connection
        shelf_id = (
            make_shelf(writing, wish.shelf, book.name) if wish.new else find_shelf(connection, wish.shelf, book.name).id
        )
        _move(writing, shelf_id, wish, book.name)
        _shelve(writing, shelf_id, wish, named)
        if wish.camera is not None and wish.job is not None:
            start_camera_at(writing, wish.job, wish.camera, shelf_id, book.name)
        return shelves_shown(connection, [shelf_id])


def _move(writing: "Writing", shelf_id: bytes, wish: _Wish, name: str) -> None:
    """Another name, another shelf around it."""
    from tapehook.book.shelves import change_shelf, shelves
    from tapehook.book.shelving import find_shelf, path_parts

    if wish.name is None and wish.into is None:
        return
    now = shelves(writing.connection)[shelf_id]
    parent = now.parent
    if wish.into is not None:
        parent = find_shelf(writing.connection, wish.into, name).id if path_parts(wish.into) else None
    change_shelf(writing, now, name=wish.name, parent=parent)


def _shelve(writing: "Writing", shelf_id: bytes, wish: _Wish, named: dict[str, bytes]) -> None:
    """Lenses put on, pinned, and taken off."""
    from tapehook.book.lenses import lenses_of
    from tapehook.book.shelving import shelve_lens

    found = lenses_of(writing.connection, list(named.values()))
    for listed, target, pinned in ((wish.put, shelf_id, False), (wish.pin, shelf_id, True), (wish.take, None, False)):
        for words in listed:
            if named[words] not in found:
                raise Refusal([OptionProblem("WORDS", words, "a lens of the book", "there is no such lens")])
            shelve_lens(writing, found[named[words]], target, pinned=pinned)


def _show(shown: "list[ShelfShown]") -> None:
    if not shown:
        click.echo('There are no shelves yet. Make one: tapehook book shelf "Truck" --new')
        return
    rows = []
    for one in shown:
        starts = ", ".join(f"camera {camera} of {job}" for job, camera in one.cameras)
        rows.append([one.shelf.path, "" if one.stands else "nothing yet", starts])
        rows += [["", f"{title}{' (pinned)' if pinned else ''}", ""] for _, _, title, pinned in one.stands]
    show_rows(("shelf", "on it", "where a change of lens starts"), rows)
