"""What the tests of the pages share: a server, its routes, and jobs on it."""

from dataclasses import dataclass
from typing import Any

from fastapi.routing import APIRoute
from starlette.types import ASGIApp

from tapehook.book.store import Book
from tapehook.pages.app import ROUTERS
from tapehook.pages.sessions import Sessions
from tests.pages.asking import Client

NOBODY = "0" * 32
"""A key of the right shape that nothing has."""


@dataclass(frozen=True, slots=True)
class Served:
    """A server, its sessions, its book."""

    app: ASGIApp
    sessions: Sessions
    book: Book


def job_key(client: Client) -> str:
    """The key of the first job."""
    return str(client.get("/api/jobs").json["jobs"][0]["key"])


def lens_key(client: Client, job: str, row_id: str) -> str:
    """The key of a lens by what it is called in the job."""
    lenses = client.get(f"/api/jobs/{job}/lenses").json["lenses"]
    return str(next(one["key"] for one in lenses if one["id"] == row_id))


def all_routes() -> list[tuple[str, str]]:
    """Every route of pages and interface: method and path, with keys that nothing has in place of names."""
    names = {"job": NOBODY, "lens": NOBODY, "device": "0" * 32, "topic": "map", "name": "handover.pdf"}
    listed = [route for router in ROUTERS for route in router.routes if isinstance(route, APIRoute)]
    return sorted((method, route.path.format(**names)) for route in listed for method in route.methods or ())


def new_lens(client: Client, **changes: Any) -> tuple[str, str]:  # noqa: ANN401 - fields of the request
    """A job "Harbour" with one lens, made through the interface: the keys of both."""
    job = client.post("/api/jobs", {"name": "Harbour", "units": "imperial", "shooting_stop": "T2.8"}).json["key"]
    lens = {"id": "L1", "focal": "50 mm", "stop": "T1.4", "serial": "4711", "engraved_in": "feet", "step": "0.1"}
    answer = client.post(f"/api/jobs/{job}/lenses", {**lens, **changes})
    assert answer.status == 200, answer.text
    return job, answer.json["lens"]


MARKS = ((2.0, 300.0), (2.5, 240.4), (3.0, 200.1), (4.0, 149.8), (5.0, 120.2), (7.0, 85.6), (10.0, 60.1), (20.0, 29.8))
"""Feet and degrees of a scale on which the position is 600 over the distance, read to 0.5 degree."""


def measured_lens(client: Client) -> tuple[str, str]:
    """The same with eight marks read one way."""
    job, lens = new_lens(client)
    text = "\n".join(f"{feet:g}'\t{degrees}" for feet, degrees in MARKS)
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/column", {"text": text, "approach": "near_to_far"})
    assert answer.status == 200, answer.text
    return job, lens
