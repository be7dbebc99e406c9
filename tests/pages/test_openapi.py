"""The interface against its own description: whatever is sent, it answers in words and never fails."""

import json
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.routing import APIRoute
from hypothesis import HealthCheck, settings
from schemathesis import Case
from schemathesis.core import NotSet

from tapehook.book.store import new_book
from tapehook.pages.app import ROUTERS, make_app
from tapehook.pages.sessions import Sessions
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Answer, Client
from tests.pages.conftest import take_in_demo
from tests.pages.kit import job_key, lens_key

INTERFACE = tuple(router for router in ROUTERS if router.prefix == "/api")


def _description() -> dict[str, Any]:
    """The description of the interface, which is the same on every book."""
    app = FastAPI()
    for router in INTERFACE:
        app.include_router(router)
    return app.openapi()


DESCRIBED = schemathesis.openapi.from_dict(_description())


@dataclass(frozen=True, slots=True)
class Target:
    """A browser that may write on a server with the demo job, and what is there to be written to."""

    client: Client
    job: str
    lens: str


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Target]:
    """A server of its own: what is made up is written to it."""
    with new_book(str(tmp_path_factory.mktemp("fuzz") / "demo.book")) as book:
        take_in_demo(book)
        client = Client(make_app(book, Sessions("Mara"), let_in=True, port=8310))
        client.get("/help")
        job = job_key(client)
        yield Target(client, job, lens_key(client, job, "L03"))


def _send(case: "Case[Any]", target: Target) -> Answer:
    """Send what was made up, to what is there in two of three cases, so that more than a 404 is tried."""
    names = {name: str(value) for name, value in (case.path_parameters or {}).items()}
    for name, there in (("job", target.job), ("lens", target.lens)):
        if name in names and zlib.crc32(names[name].encode("utf-8", "replace")) % 3:
            names[name] = there
    path = case.path
    for name, value in names.items():
        path = path.replace("{" + name + "}", quote(value, safe="", errors="replace"))
    query = urlencode({key: str(value) for key, value in (case.query or {}).items()}, errors="replace")
    headers = {"x-tapehook-token": target.client.token, "content-type": "application/json"}
    if isinstance(case.body, bytes):
        body = case.body
    else:
        body = b"" if isinstance(case.body, NotSet) else json.dumps(case.body).encode()
    return target.client.ask(case.method, f"{path}?{query}" if query else path, headers, body)


@DESCRIBED.parametrize()
@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
def test_nothing_sent_makes_it_fail(case: "Case[Any]", target: Target) -> None:
    """Whatever fits the description, and whatever does not: never a status of 500 or above; a refusal is in words."""
    if case.path == "/api/watch":
        case.query = {**(case.query or {}), "wait": 0}
    answer = _send(case, target)
    assert answer.status < 500, answer.text
    if answer.status >= 400:
        assert list(misfits(answer.json, schema("problems"))) == []


def test_the_description_names_every_route(laptop: Client) -> None:
    """What the interface can do stands in its description, each with a sentence."""
    described_paths = laptop.get("/api/openapi.json").json["paths"]

    ours = {
        (route.path, method.lower())
        for router in INTERFACE
        for route in router.routes
        if isinstance(route, APIRoute)
        for method in route.methods or ()
    }
    assert {(path, method) for path, methods in described_paths.items() for method in methods} == ours
    for methods in described_paths.values():
        for what in methods.values():
            assert what["description"].strip()
