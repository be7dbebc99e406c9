"""A page that says what is being worked out, and goes on by itself, where a job takes longer than people wait.

The work goes on in a thread of its own, once for all who ask. The page asks again each second by a header of the
answer, so it needs no script; it writes nothing, so a device that may only look waits in the same way.
"""

import threading
from dataclasses import dataclass, field

from fastapi import Request

from tapehook.book.trouble import BookRefusal
from tapehook.job import JobProblems
from tapehook.pages.at_hand import At
from tapehook.pages.desk import Desk, JobNow, NotThere

SOON_S = 1.5
"""So long a page is simply kept; then it says what is being done."""
ASK_AGAIN_S = 1


@dataclass
class StillWorking(Exception):
    """The job of a page is still being worked out: so many lenses of so many are done."""

    key: str
    now: JobNow | None
    done: int
    total: int

    @property
    def sentence(self) -> str:
        """What is being done, in words."""
        if not self.total:
            return "The job is being read from the book."
        if self.done < self.total:
            return f"Lens maps are being worked out: {self.done} of {self.total} lenses are done."
        return f"All {self.total} lens maps are there; now lenses, cameras and charts are compared with each other."


@dataclass
class Workings:
    """What is being worked out just now, by job."""

    desk: Desk
    _going: dict[str, threading.Event] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def wait_for(self, key: str, wait_s: float = SOON_S) -> None:
        """See that a job is worked out, and wait a little. Raises StillWorking.

        What is wrong with the job is not raised here: the page that asked meets it itself.
        """
        if self.desk.is_prepared(key):
            return
        with self._lock:
            done = self._going.get(key)
            if done is None:
                done = self._going[key] = threading.Event()
                threading.Thread(target=self._work, args=(key, done), daemon=True).start()
        if not done.wait(wait_s):
            raise StillWorking(key, self.desk.known_job(key), *self.desk.progress(key))

    def _work(self, key: str, done: threading.Event) -> None:
        try:
            self.desk.prep(self.desk.job(key))
        except (BookRefusal, JobProblems, NotThere):
            return  # told by the page itself
        finally:
            with self._lock:
                self._going.pop(key, None)
            done.set()


def waits(request: Request, desk: At) -> None:
    """Before a page of a job: wait a little for the job to be worked out. Raises StillWorking.

    Files, parts and what programs ask for wait as long as it takes; so does the bench of a job that was worked out
    before, which works its one lens out by itself.
    """
    key, path = request.path_params.get("job"), request.url.path
    is_page = request.method == "GET" and path.startswith("/job/") and "." not in path.rpartition("/")[2]
    if key is None or not is_page or "text/html" not in request.headers.get("accept", ""):
        return
    if "/bench/" in path and desk.was_prepared(key):
        return
    workings: Workings = request.app.state.workings
    workings.wait_for(key)
