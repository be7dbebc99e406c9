"""``tapehook serve``: serves a book it makes, tells where, and says in words why it cannot."""

import json
import signal
import socket
import subprocess
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.cli.running import PROGRAM, environment, refused
from tests.cli.shapes import misfits, schema


@contextmanager
def _serving(*options: str | Path) -> Iterator[dict[str, Any]]:
    """The command, running: what it printed."""
    command = [*PROGRAM, "serve", "--port", "0", "--json", *map(str, options)]
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
        # Where the tests run in the background Ctrl-C is ignored, and children inherit that.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - no threads here
    ) as server:
        try:
            said = ""
            while server.stdout is not None and server.poll() is None and not said.rstrip().endswith("}"):
                said += server.stdout.readline()
            yield json.loads(said)
            server.send_signal(signal.SIGINT)
            assert server.wait(10) == 0
            assert server.stderr is not None
            assert "Traceback" not in server.stderr.read()
        finally:
            server.kill()


def test_it_serves_a_book_that_it_makes(tmp_path: Path) -> None:
    """Nothing is there: the book is made, the pages answer at the address told, Ctrl-C ends it without a word."""
    path = tmp_path / "new.book"
    with _serving("--book", path, "--who", "Ben") as said:
        assert list(misfits(said, schema("serve"))) == []
        assert (said["book"], said["let_in"]) == (str(path), False)
        with urllib.request.urlopen(f"{said['addresses'][0]}api/session") as answer:  # noqa: S310 - our own address
            assert json.load(answer)["who"] == "Ben"
    assert path.exists()


def test_without_let_in_only_this_machine_can_reach_it(tmp_path: Path) -> None:
    """It listens on the loopback address alone; with --let-in on the others too."""
    with _serving("--book", tmp_path / "one.book") as said:
        assert len(said["addresses"]) == 1
        port = int(said["addresses"][0].rstrip("/").rpartition(":")[2])
        assert not _answers(_own_address(), port)
        assert _answers("127.0.0.1", port)
    with _serving("--book", tmp_path / "one.book", "--let-in") as said:
        assert said["let_in"]


def _answers(address: str, port: int) -> bool:
    """True where somebody takes a connection there."""
    with socket.socket() as other:
        other.settimeout(2)
        return other.connect_ex((address, port)) == 0


def _own_address() -> str:
    """An address of this machine that is not the loopback; one that is nobody's where there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "192.0.2.1"


def test_what_it_cannot_do_is_said(tmp_path: Path) -> None:
    """A port that is no port, a certificate without its key, a file that is no book, a port in use: exit code 2."""
    book = tmp_path / "my.book"
    no_book = tmp_path / "letter.txt"
    no_book.write_text("Dear Ben", encoding="utf-8")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        for options, named in (
            (("--port", "80000"), "--port"),
            (("--port", "-1"), "--port"),
            (("--tls-cert", "a.pem"), "--tls-key"),
            (("--tls-cert", "a.pem", "--tls-key", "b.pem"), "--tls-cert"),
            (("--book", str(no_book)), "no book"),
            (("--port", port), "--port"),
        ):
            sentence, *_ = refused("serve", *(() if "--book" in options else ("--book", str(book))), *options)
            assert named in sentence
    assert no_book.read_text(encoding="utf-8") == "Dear Ben"


def test_a_folder_of_photos_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """Told before anything is served, with all else that is wrong."""
    said = refused("serve", "--book", tmp_path / "b.book", "--photos", tmp_path / "none", "--tls-key", "x")
    assert sorted(line.partition(":")[0] for line in said[:2]) == ["--photos", "--tls-cert"]
    assert not (tmp_path / "b.book").exists()
