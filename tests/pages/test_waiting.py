"""Where a job takes long to work out, a page says what is being done, and goes on by itself."""

import threading
from typing import Any

import pytest

from tapehook.pages import desk as desk_module
from tapehook.pages import waiting
from tapehook.prep import prepare
from tests.pages.asking import Client
from tests.pages.conftest import let_in
from tests.pages.kit import Served, measured_lens

HTML = {"accept": "text/html,application/xhtml+xml"}


@pytest.fixture
def held(server: Served, monkeypatch: pytest.MonkeyPatch) -> tuple[Client, str, threading.Event]:
    """A job whose working out goes on only when the test says so; it counts one lens first."""
    client = Client(server.app)
    client.get("/")
    job, _ = measured_lens(client)
    on = threading.Event()

    def slowly(job: Any, *, run: Any) -> Any:  # noqa: ANN401 - as prepare
        on.wait(20.0)
        return prepare(job, run=run)

    monkeypatch.setattr(desk_module, "prepare", slowly)
    monkeypatch.setattr(waiting.Workings.wait_for, "__defaults__", (0.05,))
    return client, job, on


def test_a_page_that_takes_long_says_what_is_done_and_asks_again(held: tuple[Client, str, threading.Event]) -> None:
    """The answer tells how many lenses are done and to ask for the same address in a second; no script is needed."""
    client, job, on = held
    path = f"/job/{job}/handover?ch=868-1"
    answer = client.get(path, **HTML)
    assert (answer.status, answer.header("refresh"), answer.header("cache-control")) == (200, "1", "no-store")
    assert "0 of 1 lenses are done" in answer.text
    assert '<progress max="1" value="0"' in answer.text
    assert f'href="{path}"' in answer.text
    on.set()
    done = _until_there(client, path)
    assert (done.header("refresh"), "<h1>Handover</h1>" in done.text) == ("", True)


def _until_there(client: Client, path: str) -> Any:  # noqa: ANN401 - an Answer
    for _ in range(100):
        answer = client.get(path, **HTML)
        if not answer.header("refresh"):
            return answer
    raise AssertionError(answer.text)


def test_a_device_that_may_only_look_waits_in_the_same_way(
    held: tuple[Client, str, threading.Event], server: Served
) -> None:
    """It sees the same page, and starts no second piece of work."""
    client, job, on = held
    viewer = let_in(server, "view")
    before = threading.active_count()
    for asking in (client, viewer, viewer):
        assert asking.get(f"/job/{job}/prep", **HTML).header("refresh") == "1"
    working = [one for one in threading.enumerate() if one.name.endswith("(_work)")]
    assert len(working) == 1, before
    on.set()
    assert "may look, and not write" in _until_there(viewer, f"/job/{job}/prep").text


def test_programs_and_parts_wait_for_the_whole_answer(held: tuple[Client, str, threading.Event]) -> None:
    """What is no page for a person comes complete, however long that takes."""
    client, job, on = held
    threading.Timer(0.3, on.set).start()
    assert client.get(f"/api/jobs/{job}/prep", **HTML).json["lenses"]


def test_a_job_that_is_not_there_is_said_at_once(held: tuple[Client, str, threading.Event]) -> None:
    """The thread meets what is wrong, and so does the page."""
    client, _, on = held
    on.set()
    assert client.get(f"/job/{'0' * 32}/prep", **HTML).status == 404


@pytest.mark.parametrize(
    "done, total, said", [(0, 0, "being read"), (3, 24, "3 of 24"), (24, 24, "compared with each other")]
)
def test_it_says_how_far_it_is(done: int, total: int, said: str) -> None:
    """Reading, lens by lens, and what is compared at the end."""
    assert said in waiting.StillWorking("", None, done, total).sentence
