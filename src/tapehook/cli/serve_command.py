"""``tapehook serve``: the pages in the browser, for this laptop or for the set's own network too."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tapehook.cli.refusals import Command, Misread, Option, OptionProblem, Refusal, folder_path, plain

if TYPE_CHECKING:
    from tapehook.book.store import Book

_EXAMPLE = """\b
Example:
  tapehook serve
  tapehook serve --book harbour.book --let-in
"""


def _port(ctx: click.Context, param: click.Parameter, value: str | None) -> int | None:
    """Callback: a port by its number, 0 for any that is free."""
    if value is None:
        return None
    if not (value.isascii() and value.isdigit() and len(value) <= 5 and int(value) <= 65_535):
        raise Misread(value, "a port, 0 to 65535; 0 takes any that is free", param, ctx)
    return int(value)


@click.command("serve", cls=Command, epilog=_EXAMPLE)
@click.option("--book", "where", cls=Option, metavar="PATH", help="The book; otherwise TAPEHOOK_BOOK, else your own.")
@click.option("--port", cls=Option, metavar="NUMBER", callback=_port, help="The port; otherwise 8310.")
@click.option("--let-in", cls=Option, is_flag=True, help="Let devices of the set's own network in, by a code.")
@click.option("--name", "names", cls=Option, multiple=True, metavar="HOST", help="A further name of this machine.")
@click.option("--who", cls=Option, metavar="NAME", help="The name you write under; otherwise that of your account.")
@click.option("--tls-cert", cls=Option, metavar="FILE", help="A certificate, for a connection nobody can read along.")
@click.option("--tls-key", cls=Option, metavar="FILE", help="The key of the certificate.")
@click.option(
    "--photos",
    cls=Option,
    metavar="FOLDER",
    callback=folder_path,
    help="A job folder, or a folder of such: its photos of condition are shown.",
)
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print the addresses as JSON (docs: Commands).")
def command(
    where: str | None,
    port: int | None,
    let_in: bool,  # noqa: FBT001
    names: tuple[str, ...],
    who: str | None,
    tls_cert: str | None,
    tls_key: str | None,
    photos: Path | None,
    as_json: bool,  # noqa: FBT001
) -> None:
    """Open the pages on a book, made if there is none, and serve until Ctrl-C.

    Without --let-in only browsers on this machine can reach them, and there is no login. With it, each device is let
    in by a code that this machine shows.
    """
    from tapehook.pages.serving import PORT, Wanted, serve

    problems = _certificate_problems(tls_cert, tls_key)
    if photos is not None and not photos.is_dir():
        problems.append(OptionProblem("--photos", str(photos), "a folder that is there"))
    if problems:
        raise Refusal(problems)
    wanted = Wanted(PORT if port is None else port, let_in, tls_cert, tls_key, names, photos)
    with open_or_make(where) as book:
        try:
            serve(book, who or _person(), wanted, lambda found: _say(found, book.name, let_in=let_in, as_json=as_json))
        except KeyboardInterrupt:
            pass  # that is how it is ended
        except OSError as trouble:
            said = f"a port nobody listens on ({trouble.strerror or trouble})"
            raise Refusal([OptionProblem("--port", str(wanted.port), said)]) from None


def open_or_make(where: str | None) -> "Book":
    """The book, made where there is none yet. Raises Refusal in the words of the book."""
    from tapehook.book.place import place_of
    from tapehook.book.store import new_book, open_book
    from tapehook.book.trouble import BookRefusal

    try:
        place = place_of(where)
        return open_book(where) if place.exists else new_book(where)
    except BookRefusal as refused:
        raise Refusal(refused.problems) from None


def _person() -> str:
    from tapehook.book.store import person

    return person()


def _certificate_problems(certificate: str | None, key: str | None) -> list[OptionProblem]:
    pair = (("--tls-cert", certificate), ("--tls-key", key))
    if (certificate is None) != (key is None):
        missing = next(name for name, value in pair if value is None)
        return [OptionProblem(missing, None, "both, a certificate and its key", "not given: both belong together")]
    return [
        OptionProblem(name, value, "a file that can be read")
        for name, value in pair
        if value is not None and not Path(value).is_file()
    ]


def _say(found: list[str], book: str, *, let_in: bool, as_json: bool) -> None:
    """Tell the addresses, once there is somebody to answer."""
    if as_json:
        from tapehook.cli.console import show_json

        show_json({"book": book, "addresses": found, "let_in": let_in})
        return
    click.echo(f"The pages of {plain(book)} are at {found[0]}")
    if let_in:
        others = ", ".join(found[1:]) or "no network found"
        click.echo(f"Devices of the set's network: {others} Let each in by the code under 'let in' on this machine.")
        if found[0].startswith("http:"):
            click.echo(
                "This is plain HTTP: others on the same network can read along. --tls-cert and --tls-key end that."
            )
    click.echo("Ctrl-C ends it.")
