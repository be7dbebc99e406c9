"""The server put together: guard, pages, interface, static files; and what is said when something goes wrong."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from importlib.resources import files
from pathlib import Path
from typing import Any

import anyio.to_thread
from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from tapehook import __version__
from tapehook.book.store import Book
from tapehook.book.trouble import BookRefusal, StaleEdit
from tapehook.job import JobProblems
from tapehook.job.problems import shown
from tapehook.pages import (
    api,
    kit_routes,
    left_routes,
    light_routes,
    photo_routes,
    radio_routes,
    routes,
    shot_routes,
    strip_routes,
    swap_routes,
    through_routes,
    weather_routes,
)
from tapehook.pages.actions import Acts
from tapehook.pages.desk import Desk, NotThere
from tapehook.pages.guard import Guard, TooLarge, problem
from tapehook.pages.photos import Photos
from tapehook.pages.sessions import Sessions
from tapehook.pages.typed import Misread, Reader
from tapehook.pages.waiting import ASK_AGAIN_S, StillWorking, Workings, waits

ROUTERS = (
    api.router,
    kit_routes.api_router,
    left_routes.api_router,
    shot_routes.api_router,
    light_routes.api_router,
    radio_routes.api_router,
    strip_routes.api_router,
    swap_routes.api_router,
    through_routes.api_router,
    weather_routes.api_router,
    routes.router,
    kit_routes.router,
    left_routes.router,
    shot_routes.router,
    light_routes.router,
    photo_routes.router,
    radio_routes.router,
    strip_routes.router,
    swap_routes.router,
    weather_routes.router,
)
"""Everything that is answered; what is described as the interface first."""
THREADS = 8
LOOK_EVERY_S = 1.0
"""How often it is seen whether another program wrote to the book."""


def make_app(
    book: Book,
    sessions: Sessions,
    *,
    let_in: bool = False,
    names: Sequence[str] = (),
    port: int = 0,
    photos: Path | None = None,
) -> ASGIApp:
    """The whole server as an ASGI application. ``names`` are further names it may be reached by.

    ``photos`` is a job folder, or a folder of such, with the photos of condition of the lenses.
    """
    desk = Desk(book)

    @asynccontextmanager
    async def living(_app: FastAPI) -> AsyncIterator[None]:
        # The work is arithmetic, which threads only take from each other: a few at a time are quicker than forty.
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        desk.listen()
        looking = asyncio.create_task(_keep_looking(desk))
        yield
        looking.cancel()
        with suppress(asyncio.CancelledError):
            await looking

    app = FastAPI(
        title="tapehook",
        version=__version__,
        description="The data of the pages as JSON. Shapes are those of the commands' --json.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=living,
    )
    app.state.desk, app.state.acts = desk, Acts(desk)
    app.state.let_in, app.state.port = let_in, port
    app.state.photos = Photos(photos)
    app.state.workings = Workings(desk)
    for router in ROUTERS:
        app.include_router(router, dependencies=[Depends(waits)])
    package = files("tapehook")
    for name, folder in (
        ("/static/fonts", package / "handover" / "fonts"),
        ("/static/web", package / "handover" / "web"),
        ("/static", package / "pages" / "static"),
    ):
        app.mount(name, StaticFiles(directory=Path(str(folder))))
    _refusals(app)
    return Guard(app, sessions, let_in=let_in, names=names)


async def _keep_looking(desk: Desk) -> None:
    while True:
        await asyncio.sleep(LOOK_EVERY_S)
        with suppress(BookRefusal):  # a book that cannot be read just now is said where it is asked for
            await run_in_threadpool(desk.look)


def _refusals(app: FastAPI) -> None:
    """What went wrong, in words: as JSON under /api, else as a page."""

    async def stale(request: Request, trouble: Exception) -> Response:
        return await run_in_threadpool(_said, request, 409, _problems(trouble))

    async def refused(request: Request, trouble: Exception) -> Response:
        return await run_in_threadpool(_said, request, 422, _problems(trouble))

    async def missing(request: Request, trouble: Exception) -> Response:
        return await run_in_threadpool(_said, request, 404, problem(str(trouble)))

    async def misfit(request: Request, trouble: Exception) -> Response:
        assert isinstance(trouble, RequestValidationError)  # noqa: S101 - registered for it alone
        return await run_in_threadpool(_said, request, 422, _misfits(trouble))

    async def plain(request: Request, trouble: Exception) -> Response:
        assert isinstance(trouble, HTTPException)  # noqa: S101 - registered for it alone
        words = {404: "There is no such page.", 405: "There is no such method here."}
        said = problem(words.get(trouble.status_code, str(trouble.detail)))
        return await run_in_threadpool(_said, request, trouble.status_code, said)

    async def beyond(request: Request, trouble: Exception) -> Response:
        assert isinstance(trouble, ValidationError)  # noqa: S101 - registered for it alone
        reader = Reader()
        reader.limits(trouble)
        return await run_in_threadpool(_said, request, 422, _problems(reader))

    async def working(request: Request, trouble: Exception) -> Response:
        assert isinstance(trouble, StillWorking)  # noqa: S101 - registered for it alone
        return await run_in_threadpool(_waiting, request, trouble)

    for kind, handler in (
        (StillWorking, working),
        (StaleEdit, stale),
        (BookRefusal, refused),
        (JobProblems, refused),
        (Misread, refused),
        (NotThere, missing),
        (ValidationError, beyond),
        (RequestValidationError, misfit),
        (TooLarge, plain),
        (HTTPException, plain),
    ):
        app.add_exception_handler(kind, handler)


def _problems(trouble: Any) -> dict[str, Any]:  # noqa: ANN401 - whatever has problems
    return {"problems": [one.as_json() for one in trouble.problems]}


def _misfits(trouble: RequestValidationError) -> dict[str, Any]:
    found = []
    for error in trouble.errors():
        field = ".".join(str(part) for part in error["loc"][1:]) or "the request"
        expected = str(error["msg"]).removeprefix("Value error, ")
        said = f"{field}: {expected}"
        found += problem(said, field=shown(field), expected=expected)["problems"]
    return {"problems": found}


def _waiting(request: Request, trouble: StillWorking) -> Response:
    """What is being worked out; the browser asks for the same page again by itself."""
    again = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    shown: dict[str, Any] = {"sentence": trouble.sentence, "done": trouble.done, "total": trouble.total, "again": again}
    answer = routes.page(request, "waiting.html", now=trouble.now, **shown)
    answer.headers["refresh"] = str(ASK_AGAIN_S)
    return answer


def _said(request: Request, status: int, said: dict[str, Any]) -> Response:
    if request.url.path.startswith("/api"):
        return JSONResponse(said, status)
    sentences = [str(one["sentence"]) for one in said["problems"]]
    if request.scope.get("session") is None:
        return PlainTextResponse("\n".join(sentences), status)
    return routes.trouble_page(request, status, sentences)
