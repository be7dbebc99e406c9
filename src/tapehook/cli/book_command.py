"""``tapehook book``: the commands of the book, each in a module of its own."""

import click

from tapehook.cli.groups import LazyGroup

COMMANDS = {
    "new": "Make a new, empty book.",
    "import": "Take a job folder or a sheet of lenses in: first a preview, then with --write.",
    "export": "Write a job of the book as a job folder, without loss.",
    "merge": "Add what another book has; conflicts are shown, none is resolved.",
    "settle": "Say what becomes of a conflict: which version stands, one lens or two.",
    "serial": "Exchange a provisional serial for the real one, with all its history.",
    "untie": "Take back that two lenses are one, each with its own history again.",
    "backup": "Copy the book as it is now to a file, while others work.",
    "restore": "Put a backup in the place of the book, once it was checked.",
    "check": "Look the book over: file, records, hashes, what is derived from them.",
    "find": "Find lenses by anything said of them, typing mistakes forgiven.",
    "shelf": "Shelves: what stands on them, pins, and where a camera's change of lens starts.",
    "history": "What is known of a lens over the years, and what changed.",
}

_EXAMPLE = """\b
Example:
  tapehook book new
  tapehook book import my-job
"""


@click.group("book", cls=LazyGroup, helps=COMMANDS, module="tapehook.cli.book_{}", epilog=_EXAMPLE)
def command() -> None:
    """The book: where lenses, readings and jobs are kept.

    It is a file, or a database of a PostgreSQL server that a whole rental house shares. Each command takes --book PATH
    or a URL such as postgresql://server/house; otherwise it is what TAPEHOOK_BOOK names, else a file in your data
    folder.
    """
