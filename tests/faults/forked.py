"""Something done in a process of its own, copied from this one: quick to start, and killed at no cost to the rest."""

import os
import pickle
import signal
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

NOBODY = 65_534
Tell = Callable[[str], None]


@dataclass
class Child:
    """A running copy of this process; what it told, line by line, comes out of ``pipe``."""

    pid: int
    pipe: int

    def lines(self, end: str | None = None) -> list[str]:
        """All complete lines, read until the child has ended; or, with ``end``, until that line."""
        data = b""
        while not (end and f"{end}\n".encode() in data) and (more := os.read(self.pipe, 65_536)):
            data += more
        return data.decode().split("\n")[:-1]

    def kill(self) -> list[str]:
        """End it at once, as a power cut does; the lines it had told until then."""
        os.kill(self.pid, signal.SIGKILL)
        return self.wait()

    def wait(self) -> list[str]:
        """Wait for its end; the lines it told."""
        lines = self.lines()
        os.close(self.pipe)
        os.waitpid(self.pid, 0)
        return lines


def fork(work: Callable[[Tell], None], *, user: int | None = None) -> Child:
    """Start ``work`` in a copy of this process; it is handed a function that tells a line at once.

    ``user``: as that user, if this one is root. An exception is told as a line that begins with "failed:".
    """
    out, into = os.pipe()
    with warnings.catch_warnings():
        # Newer versions of Python warn of threads that the copy has not; those of an idle array library do no harm.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid:
        os.close(into)
        return Child(pid, out)
    status = 1
    try:
        os.close(out)
        if user is not None and os.geteuid() == 0:
            os.setgid(user)
            os.setuid(user)
        work(lambda line: _tell(into, line))
        status = 0
    except BaseException as trouble:  # noqa: BLE001 - the copy must never go on as if it were the test run
        _tell(into, f"failed: {type(trouble).__name__}: {trouble}")
    finally:
        os._exit(status)


def _tell(pipe: int, line: str) -> None:
    os.write(pipe, f"{line}\n".encode())


def answer(work: Callable[[], Any], *, user: int | None = None) -> Any:  # noqa: ANN401 - whatever the work returns
    """What ``work`` returns, done in a process of its own; any simple value. Raises AssertionError when it failed."""
    child = fork(lambda tell: tell(pickle.dumps(work()).hex()), user=user)
    (line,) = child.wait()
    assert not line.startswith("failed:"), line
    return pickle.loads(bytes.fromhex(line))  # noqa: S301 - our own process wrote it


def soon(seconds: float) -> None:
    """Wait a little."""
    time.sleep(seconds)
