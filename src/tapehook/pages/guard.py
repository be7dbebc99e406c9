"""What every request passes before anything answers it: the right address, a session, a token, a limit of size.

An ASGI middleware, so that no route can be added without it. It answers in plain words and in the shape of the request:
JSON under ``/api``, otherwise text or a way to the page that lets a device in.
"""

import ipaddress
import json
import socket
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from typing import Any

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tapehook.pages.sessions import Session, Sessions

COOKIE = "tapehook"
TOKEN_HEADER = "x-tapehook-token"  # noqa: S105 - the name of a header
LARGEST_BODY = 1_000_000
"""Bytes: a pasted column of some ten thousand readings."""
OPEN_PATHS = ("/pair", "/api/pair")
STATIC = "/static/"
SAFE = ("GET", "HEAD")

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content Security Policy of every page: our own files and nothing inline."""

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
)


class Refused(Exception):
    """The request goes no further: status and a sentence."""

    def __init__(self, status: int, said: str) -> None:
        super().__init__(said)
        self.status = status
        self.said = said


class TooLarge(HTTPException):
    """More came than a request may bring."""

    def __init__(self) -> None:
        super().__init__(413, f"At most {LARGEST_BODY:,} bytes at a time.")


class Guard:
    """Lets through what may come through; ``let_in`` when other machines may reach the server at all."""

    def __init__(self, app: ASGIApp, sessions: Sessions, *, let_in: bool = False, names: Iterable[str] = ()) -> None:
        self._app = app
        self._sessions = sessions
        self._let_in = let_in
        host = socket.gethostname().casefold()
        self._names = {host, f"{host}.local", *(name.casefold() for name in names)} if let_in else set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check, then pass on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # there are no web sockets here
        headers = _headers(scope)
        path: str = scope["path"]
        try:
            self._check_host(scope, headers)
            session, fresh = self._session(scope, headers, path)
            self._check_writing(scope, headers, session, path)
            limited = _limited(receive, headers)
        except Refused as refused:
            await _answer(send, refused, path)
            return
        scope["session"] = session
        scope["sessions"] = self._sessions
        cookie = self._cookie(fresh, secure=scope.get("scheme") == "https") if fresh else None
        try:
            await self._app(scope, limited, _with_headers(send, path, cookie))
        except TooLarge:
            await _answer(send, Refused(413, f"At most {LARGEST_BODY:,} bytes at a time."), path)

    def _check_host(self, scope: Scope, headers: dict[str, str]) -> None:
        """The name the browser asked for must be one of ours, or another site could speak with our voice."""
        name = _host_name(headers.get("host", ""))
        ours = str((scope.get("server") or ("", 0))[0])
        at_home = _is_loopback(str((scope.get("client") or ("", 0))[0]))
        allowed = (at_home and (name == "localhost" or _is_loopback(name))) or name in self._names
        allowed = allowed or (self._let_in and _is_address(name) and _same_address(name, ours))
        if not allowed:
            raise Refused(421, "This server does not go by that name.")

    def _session(self, scope: Scope, headers: dict[str, str], path: str) -> tuple[Session | None, Session | None]:
        """The session of a request; and, the second, one that is new and needs its cookie."""
        at_laptop = _at_laptop(scope, headers)
        found = self._sessions.session_of(_cookie_value(headers.get("cookie", "")), at_laptop=at_laptop)
        if found is not None:
            return found, None
        if path.startswith(STATIC):
            return None, None
        if at_laptop:
            made = self._sessions.new_laptop()
            return made, made
        if path not in OPEN_PATHS:
            raise Refused(401, "This device is not let in. Ask for a code at the laptop and open /pair.")
        return None, None

    def _check_writing(self, scope: Scope, headers: dict[str, str], session: Session | None, path: str) -> None:
        """Whatever may change something comes from our own page, with its token, by a session that may write."""
        if scope["method"] in SAFE:
            return
        if scope["method"] not in {"POST", "DELETE", "PUT"}:
            raise Refused(405, "There is no such method here.")
        origin = headers.get("origin")
        ours = f"{scope.get('scheme', 'http')}://{headers.get('host', '')}"
        if (origin is not None and origin != ours) or headers.get("sec-fetch-site", "same-origin") != "same-origin":
            raise Refused(403, "Only the pages of this server may write.")
        if path == "/api/pair":
            return
        if session is None or not self._sessions.token_fits(session, headers.get(TOKEN_HEADER, "")):
            raise Refused(403, "The page is out of date: load it again. (The token does not fit the session.)")
        if not session.may("edit"):
            raise Refused(403, "This device may look, and not write.")

    def _cookie(self, session: Session, *, secure: bool) -> bytes:
        return set_cookie(self._sessions, session, secure=secure).encode("latin-1")


def set_cookie(sessions: Sessions, session: Session, *, secure: bool) -> str:
    """The header that gives a device its cookie: never to scripts, never to other sites."""
    ending = "; Secure" if secure else ""
    return f"{COOKIE}={sessions.cookie_of(session)}; Path=/; HttpOnly; SameSite=Strict{ending}"


def _headers(scope: Scope) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in scope["headers"]:
        name = key.decode("latin-1").lower()
        # Of a header sent twice none is believed: which of both a proxy or browser meant is not known.
        found[name] = "" if name in found and name in {"host", "origin", "content-length"} else value.decode("latin-1")
    return found


def _host_name(host: str) -> str:
    """The name in a Host header, without port and brackets."""
    if host.startswith("["):
        return host[1:].partition("]")[0].casefold()
    return host.partition(":")[0].casefold()


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _is_loopback(name: str) -> bool:
    try:
        found = ipaddress.ip_address(name)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return (mapped or found).is_loopback


def _same_address(one: str, other: str) -> bool:
    return _is_address(other) and ipaddress.ip_address(one) == ipaddress.ip_address(other)


def _at_laptop(scope: Scope, headers: dict[str, str]) -> bool:
    """True for a browser on the machine itself: not through a proxy that merely runs on it."""
    client = str((scope.get("client") or ("", 0))[0])
    name = _host_name(headers.get("host", ""))
    passed_on = any(name in headers for name in ("forwarded", "x-forwarded-for", "via"))
    return _is_loopback(client) and (name == "localhost" or _is_loopback(name)) and not passed_on


def _cookie_value(text: str) -> str | None:
    try:
        found = SimpleCookie(text).get(COOKIE)
    except CookieError:
        return None
    return found.value if found else None


def _limited(receive: Receive, headers: dict[str, str]) -> Receive:
    """The body, counted as it comes. Raises Refused for one that says itself that it is too large."""
    length = headers.get("content-length")
    if length is not None and not (length.isascii() and length.isdigit()):
        raise Refused(400, "The length of the request is no number.")
    if length is not None and (len(length) > 12 or int(length) > LARGEST_BODY):
        raise Refused(413, f"At most {LARGEST_BODY:,} bytes at a time.")
    count = 0

    async def counted() -> Message:
        nonlocal count
        message = await receive()
        count += len(message.get("body", b""))
        if count > LARGEST_BODY:
            raise TooLarge
        return message

    return counted


def _with_headers(send: Send, path: str, cookie: bytes | None) -> Send:
    """Every answer carries the policy; what is no static file is not kept by the browser."""

    async def wrapped(message: Message) -> None:
        if message["type"] == "http.response.start":
            there = {key.lower() for key, _ in message.get("headers", ())}
            added = [pair for pair in _HEADERS if pair[0] not in there]
            if b"content-security-policy" not in there:
                added.append((b"content-security-policy", POLICY.encode()))
            if b"cache-control" not in there:
                added.append((b"cache-control", b"no-cache" if path.startswith(STATIC) else b"no-store"))
            if cookie is not None:
                added.append((b"set-cookie", cookie))
            message = {**message, "headers": [*message.get("headers", ()), *added]}
        await send(message)

    return wrapped


async def _answer(send: Send, refused: Refused, path: str) -> None:
    """Say no: as JSON to a program, as text to a person; a browser that is not let in is shown the way."""
    kind, body, extra = b"text/plain; charset=utf-8", refused.said.encode(), list[tuple[bytes, bytes]]()
    status = refused.status
    if path.startswith("/api"):
        kind, body = b"application/json", json.dumps(problem(refused.said)).encode()
    elif status == 401:
        status, extra = 303, [(b"location", b"/pair")]
    wrapped = _with_headers(send, path, None)
    headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode()), *extra]
    await wrapped({"type": "http.response.start", "status": status, "headers": headers})
    await wrapped({"type": "http.response.body", "body": body})


def problem(said: str, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - JSON
    """A refusal in the shape all commands have for it."""
    one = {"file": None, "row": None, "field": None, "read": None, "expected": said, "sentence": said, **more}
    return {"problems": [one]}
