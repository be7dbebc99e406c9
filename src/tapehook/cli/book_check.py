"""``tapehook book check``: is the book sound?"""

import sys

import click

from tapehook.cli.book_options import book_option, json_option, opened, show_conflicts, show_records
from tapehook.cli.console import show_findings, show_json
from tapehook.cli.refusals import Command, Option

FAULTY = 1
"""Exit code when a fault was found: the check was done, so it is no refusal."""

_EXAMPLE = """\b
Example:
  tapehook book check
  tapehook book check --mend --json
"""


@click.command("check", cls=Command, epilog=_EXAMPLE)
@click.option(
    "--mend", cls=Option, is_flag=True, help="Make anew what is derived from the records: search and maps kept."
)
@book_option
@json_option
def command(mend: bool, where: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Look the whole book over: its file, its records, their hashes, and what is derived from them.

    No record is ever changed by it. Exit code 1 when there is a fault.
    """
    from tapehook.book.checking import check, mend_derived

    with opened(where) as book:
        if mend:
            mend_derived(book)
        found = check(book)
        if as_json:
            show_json(
                {
                    "book": book.name,
                    "faults": [fault.as_json() for fault in found.faults],
                    "conflicts": [one.as_json() for one in found.conflicts],
                    "records": found.records,
                }
            )
        else:
            if found.faults:
                show_findings(found.faults)
            else:
                click.echo("The book is sound.")
            show_records(found.records, "In it")
            show_conflicts(found.conflicts)
    if found.faults:
        sys.exit(FAULTY)
