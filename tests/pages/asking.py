"""Asking the server without a network: one request after the other, from any address and with any headers."""

import asyncio
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from starlette.types import ASGIApp, Message

LAPTOP = "127.0.0.1"
TABLET = "192.168.7.20"
SERVER = "192.168.7.2"


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes

    @property
    def text(self) -> str:
        """The body as text."""
        return self.body.decode()

    @property
    def json(self) -> Any:  # noqa: ANN401 - JSON
        """The body as JSON values."""
        return json.loads(self.body)

    def header(self, name: str) -> str:
        """All values of a header, joined."""
        return ", ".join(value for key, value in self.headers if key == name)


@dataclass
class Client:
    """A browser: keeps its cookies, and knows the token of the page it looked at last."""

    app: ASGIApp
    address: str = LAPTOP
    host: str = "localhost:8310"
    cookies: dict[str, str] = field(default_factory=dict)
    token: str = ""

    def get(self, path: str, **headers: str) -> Answer:
        """Look at something."""
        answer = self.ask("GET", path, headers=headers)
        found = re.search(r'data-token="(\w+)"', answer.text) if "text/html" in answer.header("content-type") else None
        self.token = found.group(1) if found else self.token
        return answer

    def post(self, path: str, data: object = None, method: str = "POST", **headers: str) -> Answer:
        """Write something, with the token of the page."""
        sent = {"x-tapehook-token": self.token, "content-type": "application/json", **headers}
        return self.ask(method, path, headers=sent, body=json.dumps({} if data is None else data).encode())

    def ask(self, method: str, path: str, headers: Mapping[str, str] | None = None, body: bytes = b"") -> Answer:
        """Any request at all."""
        answer = asyncio.run(self._ask(method, path, {"host": self.host, **(headers or {})}, body))
        for name, value in answer.headers:
            if name == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.partition(";")[0].strip('"')
        return answer

    async def _ask(self, method: str, path: str, headers: Mapping[str, str], body: bytes) -> Answer:
        plain, _, query = path.partition("?")
        given = {"content-length": str(len(body)), **headers}
        if self.cookies and "cookie" not in given:
            given["cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
            "path": plain, "raw_path": plain.encode(), "root_path": "", "query_string": query.encode(),
            "headers": [(name.replace("_", "-").encode(), value.encode("latin-1")) for name, value in given.items()],
            "client": (self.address, 50_000), "server": (LAPTOP if self.address == LAPTOP else SERVER, 8310),
        }  # fmt: skip
        waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]
        said: list[Message] = []

        async def receive() -> Message:
            if not waiting:
                await asyncio.sleep(3600)  # the browser stays
            return waiting.pop(0)

        async def send(message: Message) -> None:
            said.append(message)

        await self.app(scope, receive, send)
        start = said[0]
        found = tuple((key.decode().lower(), value.decode("latin-1")) for key, value in start["headers"])
        return Answer(start["status"], found, b"".join(message.get("body", b"") for message in said[1:]))
