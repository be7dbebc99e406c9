"""``tapehook book merge``: two books become one."""

import click

from tapehook.cli.book_options import book_option, by_option, json_option, opened, show_conflicts, show_records, writer
from tapehook.cli.console import show_json
from tapehook.cli.refusals import Argument, Command

_EXAMPLE = """\b
Example:
  tapehook book merge b-unit.book
  tapehook book merge b-unit.book --book house.book --json
"""


@click.command("merge", cls=Command, epilog=_EXAMPLE)
@click.argument("other", cls=Argument)
@by_option
@book_option
@json_option
def command(other: str, by: str | None, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Add to the book what OTHER, a path or URL, has and it has not.

    Nothing of either is lost or changed, and OTHER is only read. Conflicts are shown, and none is resolved: that is for
    a person. Merging twice changes nothing, and the order of merges does not matter.
    """
    from tapehook.book.merging import merge
    from tapehook.book.store import open_book

    with opened(where) as book, open_book(other, may_migrate=False) as source:
        merged = merge(book, source, writer(by, f"merged from {source.name}"))
        if as_json:
            show_json(
                {
                    "book": book.name,
                    "other": source.name,
                    "added": dict(merged.added),
                    "conflicts": [one.as_json() for one in merged.conflicts],
                }
            )
            return
    show_records(merged.added, "Added")
    show_conflicts(merged.conflicts)
