"""Who is at the other end: the laptop itself, or a device that was let in by a code shown on it.

Sessions live in the memory of the server and end with it. A cookie carries the session's name and a signature, never
the right itself. All times are seconds of a clock that only goes forward.
"""

import hashlib
import hmac
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

Right = Literal["view", "edit", "laptop"]
"""What a session may do: look, also write, or also let others in. Each holds those before it."""

RANK: dict[Right, int] = {"view": 0, "edit": 1, "laptop": 2}
CODE_DIGITS = 6
CODE_LASTS_S = 300.0
SESSION_LASTS_S = 16 * 3600.0
"""A long day on set; a device pairs anew the next morning."""
TRIES_AN_ADDRESS = 5
TRIES_IN_ALL = 30
TRIES_WITHIN_S = 60.0
MOST_DEVICES = 200


@dataclass(frozen=True, slots=True)
class Session:
    """One device. ``who`` is the name under which it writes; ``since``, ``seen`` and ``ends`` are on the clock."""

    id: str
    right: Right
    who: str
    since: float = 0.0
    seen: float = 0.0
    ends: float = float("inf")

    def may(self, right: Right) -> bool:
        """True when the session holds that right."""
        return RANK[self.right] >= RANK[right]


@dataclass(frozen=True, slots=True)
class Code:
    """A code that lets one device in, once, until it ``ends``."""

    digits: str
    right: Right
    ends: float


class TooManyTries(Exception):
    """Codes were tried too often; ``wait_s`` says how long to wait."""

    def __init__(self, wait_s: float) -> None:
        super().__init__("too many codes were tried")
        self.wait_s = wait_s


@dataclass
class Sessions:
    """All sessions of one server, and the code that is shown. ``person`` is the name the laptop writes under."""

    person: str
    clock: Callable[[], float] = time.monotonic
    _key: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    _devices: dict[str, Session] = field(default_factory=dict)
    _code: Code | None = None
    _tries: dict[str, deque[float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    # --- cookies and tokens ---

    def cookie_of(self, session: Session) -> str:
        """What the cookie says: the name of the session, signed."""
        return f"{session.id}.{self._sign('cookie', session.id)}"

    def token_of(self, session: Session) -> str:
        """What a page of this session must send with whatever it writes."""
        return self._sign("token", session.id)

    def token_fits(self, session: Session, token: str) -> bool:
        """True for the session's own token."""
        return hmac.compare_digest(self.token_of(session).encode(), token.encode("utf-8", "replace"))

    def _sign(self, purpose: str, text: str) -> str:
        return hmac.new(self._key, f"{purpose}\0{text}".encode(), hashlib.sha256).hexdigest()

    def session_of(self, cookie: str | None, *, at_laptop: bool) -> Session | None:
        """The session of a cookie; None for a forged, ended or revoked one, and for the laptop's own elsewhere."""
        name, _, signature = (cookie or "").partition(".")
        right = self._sign("cookie", name)
        if not name or not hmac.compare_digest(right.encode(), signature.encode("utf-8", "replace")):
            return None
        if name.startswith("laptop-"):
            return Session(name, "laptop", self.person) if at_laptop else None
        with self._lock:
            found = self._devices.get(name)
            now = self.clock()
            if found is None or found.ends <= now:
                self._devices.pop(name, None)
                return None
            self._devices[name] = found = replace(found, seen=now)
            return found

    def new_laptop(self) -> Session:
        """A session for whoever sits at the machine that serves."""
        return Session(f"laptop-{secrets.token_hex(16)}", "laptop", self.person)

    # --- letting in ---

    def new_code(self, right: Literal["view", "edit"]) -> Code:
        """Show a new code; the one before it holds no more."""
        digits = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        with self._lock:
            self._code = Code(digits, right, self.clock() + CODE_LASTS_S)
            return self._code

    def code(self) -> Code | None:
        """The code that holds now."""
        with self._lock:
            return self._code if self._code and self._code.ends > self.clock() else None

    def withdraw_code(self) -> None:
        """Let nobody else in."""
        with self._lock:
            self._code = None

    def let_in(self, digits: str, who: str, address: str) -> Session | None:
        """A session for a device that knows the code, None where it does not. Raises TooManyTries."""
        with self._lock:
            now = self.clock()
            self._count_try(address, now)
            code = self._code
            if code is None or code.ends <= now or len(self._devices) >= MOST_DEVICES:
                return None
            if not hmac.compare_digest(code.digits.encode(), digits.encode("utf-8", "replace")):
                return None
            self._code = None  # one code, one device
            for key in (address, ""):
                self._tries[key].pop()  # whoever knew the code did not guess
            session = Session(secrets.token_hex(16), code.right, who, now, now, now + SESSION_LASTS_S)
            self._devices[session.id] = session
            return session

    def _count_try(self, address: str, now: float) -> None:
        """Note one try. Past the limit of all addresses together the code itself is withdrawn."""
        for key, limit in ((address, TRIES_AN_ADDRESS), ("", TRIES_IN_ALL)):
            tries = self._tries.setdefault(key, deque())
            while tries and tries[0] <= now - TRIES_WITHIN_S:
                tries.popleft()
            if len(tries) >= limit:
                if not key:
                    self._code = None
                raise TooManyTries(tries[0] + TRIES_WITHIN_S - now)
        for key in (address, ""):
            self._tries[key].append(now)
        for key in [key for key, tries in self._tries.items() if key and not tries]:
            del self._tries[key]

    def devices(self) -> list[Session]:
        """The devices that are in, the last one first."""
        with self._lock:
            now = self.clock()
            self._devices = {name: one for name, one in self._devices.items() if one.ends > now}
            return sorted(self._devices.values(), key=lambda one: -one.since)

    def revoke(self, session_id: str) -> bool:
        """End a device's session at once; False when there is none."""
        with self._lock:
            return self._devices.pop(session_id, None) is not None
