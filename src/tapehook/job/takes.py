"""What a shot's file hands on: who comes first when not all can be sharp, and which takes were soft, and why.

``priority`` is a name, ``[[takes]]`` are tables of ``take``, ``soft``, ``who`` and ``why``, all in ``shots/NAME.toml``
beside the plan of the shot; any of it may be missing, the plan too.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tapehook.job.problems import JobProblems, Problem, limit
from tapehook.job.records import Name
from tapehook.job.shot_files import document_of

_EXPECTED = {
    "take": 'the number or name of a take, such as 3 or "3b"',
    "soft": "true or false",
    "who": 'a name such as "Ada"',
    "why": 'a reason such as "missed the mark"',
    "takes": "tables headed [[takes]]",
}


class Take(BaseModel):
    """One take: whether it was soft, on whom, and why."""

    model_config = ConfigDict(frozen=True, extra="ignore", strict=True)

    take: Name | int
    soft: bool = False
    who: Name | None = None
    why: Name | None = None


class _Takes(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", strict=True)

    takes: Annotated[list[Take], Field(max_length=500)] = []


class ShotTold(BaseModel):
    """What one shot hands on; ``priority`` is who comes first, None where nobody is named."""

    model_config = ConfigDict(frozen=True)

    name: str
    title: str
    lens_id: str | None
    priority: str | None
    takes: tuple[Take, ...]

    @property
    def soft(self) -> tuple[Take, ...]:
        """The soft takes, in order."""
        return tuple(one for one in self.takes if one.soft)


def told_in(texts: Mapping[str, str]) -> tuple[tuple[ShotTold, ...], list[str]]:
    """What shots hand on, of the texts of their files by name, and a sentence for whatever is wrong with their takes.

    A shot whose file cannot be read hands on nothing.
    """
    told, wrong = [], list[str]()
    for name, text in sorted(texts.items()):
        file = f"shots/{name}.toml"
        try:
            told.append(told_of(document_of(text.encode("utf-8", "surrogatepass"), file), name, file))
        except JobProblems as found:
            wrong += [problem.sentence() for problem in found.problems]
    return tuple(told), wrong


def told_of(document: Mapping[str, Any], name: str, file: str) -> ShotTold:
    """What the tables of one shot's file hand on. Raises JobProblems."""
    try:
        takes = _Takes.model_validate({"takes": document.get("takes", [])}).takes
    except ValidationError as trouble:
        raise JobProblems(list(_misfits(file, trouble))) from None
    title, lens = document.get("title"), document.get("lens")
    return ShotTold(
        name=name,
        title=title if isinstance(title, str) and title else name,
        lens_id=lens if isinstance(lens, str) else None,
        priority=_priority(document),
        takes=tuple(takes),
    )


def _priority(document: Mapping[str, Any]) -> str | None:
    """Who is named first: by ``priority``, else by the first hold, else the first of several people."""
    named = document.get("priority")
    if isinstance(named, str) and named.strip():
        return named.strip()
    held = [one.get("who") for one in _tables(document.get("hold"))]
    if held and isinstance(held[0], list) and len(held[0]) > 1 and isinstance(held[0][0], str):
        return held[0][0]
    people = [one.get("name") for one in _tables(document.get("people"))]
    return people[0] if len(people) > 1 and not held and isinstance(people[0], str) else None


def _tables(value: object) -> Sequence[Mapping[str, Any]]:
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def _misfits(file: str, trouble: ValidationError) -> Iterator[Problem]:
    for error in trouble.errors(include_url=False):
        names = [part for part in error["loc"] if isinstance(part, str) and part in _EXPECTED]
        place = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in error["loc"][:3])
        read = None if error["type"] == "missing" else str(error["input"])[:80]
        yield Problem(file, None, place.removeprefix("."), read, _EXPECTED[names[-1]] + limit(error))
