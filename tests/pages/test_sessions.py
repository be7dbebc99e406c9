"""Codes and sessions: one code, one device; they end, are taken back, and cannot be guessed."""

from dataclasses import dataclass

import pytest

from tapehook.pages.sessions import (
    CODE_LASTS_S,
    SESSION_LASTS_S,
    TRIES_AN_ADDRESS,
    TRIES_IN_ALL,
    TRIES_WITHIN_S,
    Sessions,
    TooManyTries,
)
from tests.pages.asking import SERVER, TABLET, Client
from tests.pages.conftest import let_in
from tests.pages.kit import Served


@dataclass
class Watch:
    """A clock that a test winds on."""

    now: float = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def watch() -> Watch:
    """The clock of the sessions."""
    return Watch()


@pytest.fixture
def sessions(watch: Watch) -> Sessions:
    """Sessions on that clock."""
    return Sessions("Mara", clock=watch)


def _cookie(sessions: Sessions, right: str = "view") -> str:
    code = sessions.new_code("edit" if right == "edit" else "view")
    session = sessions.let_in(code.digits, "Ben", TABLET)
    assert session is not None
    return sessions.cookie_of(session)


def test_a_code_lets_one_device_in(sessions: Sessions) -> None:
    """The second device needs another code."""
    code = sessions.new_code("view")
    assert sessions.let_in(code.digits, "Ben", TABLET) is not None
    assert sessions.let_in(code.digits, "Cal", TABLET) is None


def test_a_code_ends(sessions: Sessions, watch: Watch) -> None:
    """After its time, when it is withdrawn, and when a new one is shown."""
    code = sessions.new_code("view")
    watch.now += CODE_LASTS_S
    assert sessions.let_in(code.digits, "Ben", "a") is None
    code = sessions.new_code("view")
    sessions.withdraw_code()
    assert sessions.let_in(code.digits, "Ben", "b") is None
    old, new = sessions.new_code("view"), sessions.new_code("view")
    if old.digits != new.digits:
        assert sessions.let_in(old.digits, "Ben", "c") is None


def test_guessing_is_stopped(sessions: Sessions, watch: Watch) -> None:
    """Five tries a minute from one address, right or wrong; thirty from all take the code away."""
    code = sessions.new_code("view")
    for _ in range(TRIES_AN_ADDRESS):
        assert sessions.let_in("x", "Eve", "one") is None
    with pytest.raises(TooManyTries) as told:
        sessions.let_in(code.digits, "Eve", "one")
    assert 0 < told.value.wait_s <= TRIES_WITHIN_S
    for address in range(TRIES_IN_ALL - TRIES_AN_ADDRESS):
        assert sessions.let_in("x", "Eve", f"other {address}") is None
    with pytest.raises(TooManyTries):
        sessions.let_in(code.digits, "Eve", "yet another")
    assert sessions.code() is None
    watch.now += TRIES_WITHIN_S + 1
    code = sessions.new_code("view")
    assert sessions.let_in(code.digits, "Ben", "one") is not None


def test_a_session_ends_with_the_day(sessions: Sessions, watch: Watch) -> None:
    """It holds until its end and not a second longer."""
    cookie = _cookie(sessions)
    watch.now += SESSION_LASTS_S - 1
    assert sessions.session_of(cookie, at_laptop=False) is not None
    watch.now += 1
    assert sessions.session_of(cookie, at_laptop=False) is None


def test_another_run_of_the_server_knows_no_old_cookie(sessions: Sessions) -> None:
    """The key is new with each start: neither a device's cookie nor the laptop's holds on."""
    again = Sessions("Mara")
    assert again.session_of(_cookie(sessions), at_laptop=True) is None
    assert again.session_of(sessions.cookie_of(sessions.new_laptop()), at_laptop=True) is None


def test_a_device_is_put_out_at_once(demo_server: Served) -> None:
    """The laptop ends a session; the device's next request is refused."""
    tablet = let_in(demo_server, "view")
    assert tablet.get("/api/jobs").status == 200
    laptop = Client(demo_server.app)
    assert "Ben" in laptop.get("/let-in").text
    for device in demo_server.sessions.devices():
        assert laptop.post(f"/api/devices/{device.id}", method="DELETE").status == 200
    assert tablet.get("/api/jobs").status == 401


def test_only_the_laptop_lets_in(editor: Client) -> None:
    """A tablet that may write sees no code, makes none, and puts nobody out."""
    assert editor.get("/let-in").status == 404
    assert editor.post("/api/let-in", {"right": "edit"}).status == 403
    assert editor.post("/api/let-in/stop").status == 403
    assert editor.post(f"/api/devices/{'0' * 32}", method="DELETE").status == 403


def test_the_laptop_shows_code_and_qr_picture(demo_server: Served) -> None:
    """The code can be read and scanned; its address carries the code behind #, which no server is sent."""
    laptop = Client(demo_server.app)
    laptop.get("/let-in")
    code = laptop.post("/api/let-in", {"right": "view"}).json["code"]
    shown = laptop.get("/let-in").text
    assert f"{code[:3]} {code[3:]}" in shown
    assert "readable" in shown or "read along" in shown


def test_a_wrong_code_is_told_in_words(demo_server: Served) -> None:
    """And too many in a row with the time to wait."""
    stranger = Client(demo_server.app, "192.168.7.99", f"{SERVER}:8310")
    demo_server.sessions.new_code("view")
    answers = [stranger.post("/api/pair", {"code": "0", "who": "Eve"}) for _ in range(TRIES_AN_ADDRESS + 1)]
    assert [answer.status for answer in answers] == [403] * TRIES_AN_ADDRESS + [429]
    assert "Wait" in answers[-1].text
