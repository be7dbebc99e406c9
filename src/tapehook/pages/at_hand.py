"""What a route may ask for: the desk, the acts, the sessions of this server, and the session it is asked in."""

from typing import Annotated, Any

from fastapi import Depends, Path, Request

from tapehook.pages.actions import Acts
from tapehook.pages.desk import Desk
from tapehook.pages.sessions import Session, Sessions

Key = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]
Json = dict[str, Any]


def desk_of(request: Request) -> Desk:
    """The desk of this server."""
    desk: Desk = request.app.state.desk
    return desk


def acts_of(request: Request) -> Acts:
    """The acts of this server."""
    acts: Acts = request.app.state.acts
    return acts


def session_of(request: Request) -> Session:
    """The session of a request that the guard let through."""
    session: Session = request.scope["session"]
    return session


def sessions_of(request: Request) -> Sessions:
    """All sessions of this server."""
    sessions: Sessions = request.scope["sessions"]
    return sessions


At = Annotated[Desk, Depends(desk_of)]
Act = Annotated[Acts, Depends(acts_of)]
Who = Annotated[Session, Depends(session_of)]
All = Annotated[Sessions, Depends(sessions_of)]
