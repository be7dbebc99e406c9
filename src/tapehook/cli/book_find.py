"""``tapehook book find``: lenses by anything said of them."""

from typing import TYPE_CHECKING, Any

import click

from tapehook.cli.book_options import book_option, json_option, opened, show_rows
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command, Option

if TYPE_CHECKING:
    from tapehook.book.search import FoundLens

_EXAMPLE = """\b
Example:
  tapehook book find 50 mm
  tapehook book find needs work --most 10 --json
"""


@click.command("find", cls=Command, epilog=_EXAMPLE)
@click.argument("words", cls=Argument, nargs=-1, required=True)
@click.option(
    "--most",
    cls=Option,
    type=click.IntRange(1, 1000),
    default=50,
    help="At most so many lenses; 50 if nothing is said.",
)
@book_option
@json_option
def command(words: tuple[str, ...], most: int, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Find lenses by WORDS: focal length, serial, model, shelf, job, "needs work". A typing mistake a word is forgiven.

    Lenses must have every word; the nearest come first.
    """
    from tapehook.book.search import find_lenses

    with opened(where) as book:
        found = find_lenses(book, " ".join(words), most)
    if as_json:
        show_json({"lenses": [lens_as_json(one) for one in found.lenses], "more": found.more})
        return
    if not found.lenses:
        click.echo("Nothing found.")
        return
    show_rows(
        ("lens", "focal length", "shelf", "state"),
        [
            [one.lens.title, _focal(one), ", ".join(one.shelves), "needs work" if one.lens.needs_work else ""]
            for one in found.lenses
        ],
    )
    if found.more:
        click.echo("There are more; type another word.")


def _focal(found: "FoundLens") -> str:
    facts = found.lens.facts.data if found.lens.facts else {}
    shortest, longest = facts.get("focal_min_mm"), facts.get("focal_mm")
    if longest is None:
        return ""
    return f"{shortest:g}-{longest:g} mm" if shortest else f"{longest:g} mm"


def lens_as_json(found: "FoundLens") -> dict[str, Any]:
    """A lens found as plain JSON values."""
    lens = found.lens
    facts = lens.facts.data if lens.facts else {}
    return {
        "id": lens.id.hex(),
        "title": lens.title,
        "model": lens.model,
        "serial": lens.serial,
        "provisional_serial": lens.provisional if lens.serial is None else None,
        "focal_mm": facts.get("focal_mm"),
        "t_stop": facts.get("t_stop"),
        "needs_work": lens.needs_work,
        "shelves": list(found.shelves),
        "slips": found.slips,
    }
