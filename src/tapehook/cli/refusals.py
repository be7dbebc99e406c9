"""Refusing: everything that is wrong, said at once and in words, exit code 2, and nothing written."""

import errno
import json
import os
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn, Protocol

import click

REFUSED = 2
NOT_ALL_DONE = 1
"""Exit code when the handover was written, but something after that failed, such as printing what was found."""
LONGEST_SHOWN = 200

FEWEST_ALIKE = 4
"""From so many rows with the same trouble on it is said once."""
MOST_STRETCHES = 10
"""Stretches of rows that are named where many rows have the same trouble."""

_SAME = ("file", "field", "read", "expected")
_JSON = "tapehook.json"
_WRITTEN = "tapehook.written"
_TYPED = re.compile(r"^'?(.+?)'? is not (?:in the range|a valid)")
_BEYOND_ASCII = re.compile(r"[^ -~\n]")


class Problem(Protocol):
    """What can be said as a sentence and as JSON values: of an option, or of a job folder."""

    def sentence(self) -> str:
        """The problem in one sentence."""
        ...

    def as_json(self) -> dict[str, Any]:
        """The problem as plain JSON values; the keys are the same for all kinds."""
        ...


@dataclass(frozen=True, slots=True)
class OptionProblem:
    """One thing wrong with the command line: the option, what was read, what was expected.

    ``option`` is the option or argument as typed, None when the problem is with none in particular. ``said`` is the
    sentence in place of the usual one, without the option.
    """

    option: str | None
    read: str | None
    expected: str
    said: str = ""

    def sentence(self) -> str:
        """The problem in one sentence."""
        place = "" if self.option is None else f"{self.option}: "
        read = "" if self.read is None else f'read "{_short(self.read)}", '
        return plain(place + (self.said or f"{read}expected {self.expected}"))

    def as_json(self) -> dict[str, Any]:
        """The problem with the keys of a problem in a file; ``field`` is the option."""
        return {
            "file": None,
            "row": None,
            "field": None if self.option is None else plain(self.option),
            "read": None if self.read is None else plain(_short(self.read)),
            "expected": plain(self.expected),
            "sentence": self.sentence(),
        }


class Refusal(Exception):
    """The command cannot do what was asked: ``problems`` are all reasons found."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(problem.sentence() for problem in problems))
        self.problems = tuple(problems)


class Misread(click.BadParameter):
    """A value that an option does not take."""

    def __init__(self, read: str, expected: str, param: click.Parameter | None, ctx: click.Context | None) -> None:
        super().__init__(f"read {_short(read)}, expected {expected}", ctx, param)
        self.read = read
        self.expected = expected


def folder_path(ctx: click.Context, param: click.Parameter, value: str | None) -> Path | None:
    """Callback of an option: a folder by its path. Whether it is there is for the command to see."""
    if value is not None and (not value or "\0" in value):
        raise Misread(value, "the path of a folder", param, ctx)
    return None if value is None else Path(value)


def one_of(*words: str) -> Callable[[click.Context, click.Parameter, str | None], str | None]:
    """Callback of an option: one of a few words."""

    def check(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
        if value is not None and value not in words:
            raise Misread(value, " or ".join(words), param, ctx)
        return value

    return check


def read_paper(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Callback of an option: a paper, by the name job.toml has for it; "letter" for short."""
    return one_of("a4", "us-letter")(ctx, param, "us-letter" if value == "letter" else value)


def _is_one_of(error: Exception, *names: str) -> bool:
    """Whether an error is of a class known by name: importing it would load pydantic or the database for every command.

    So the two places that ask have to catch every exception; what is none of these they raise again.
    """
    return not {one.__name__ for one in type(error).__mro__}.isdisjoint(names)


class Together:
    """Gathers what several steps refuse, to be said at once: each in ``part``, then ``settle``."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    @contextmanager
    def part(self) -> Iterator[None]:
        """One step: what it refuses is kept for later, with what comes after it left undone."""
        try:
            yield
        except Exception as error:
            if not _is_one_of(error, "Refusal", "JobProblems"):
                raise
            self.problems += [one for one in getattr(error, "problems", ()) if one not in self.problems]

    def settle(self) -> None:
        """Raise Refusal with all that was refused; nothing when all went well."""
        if self.problems:
            raise Refusal(self.problems)


class _Gathering(click.Parameter):
    """Notes what is wrong with its value and lets the other options have their say."""

    def handle_parse_result(
        self, ctx: click.Context, opts: Mapping[str, Any], args: list[str]
    ) -> tuple[object, list[str]]:
        try:
            return super().handle_parse_result(ctx, opts, args)
        except click.UsageError as error:
            ctx.meta.setdefault(__name__, []).append(error)
            return None, args


class Option(_Gathering, click.Option):
    """An option that is refused together with all others that are wrong."""


class Argument(_Gathering, click.Argument):
    """An argument that is refused together with all options that are wrong."""


class Command(click.Command):
    """A command that says all that is wrong with its options at once."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse, then refuse with everything the options noted."""
        found: list[click.UsageError] = ctx.meta.setdefault(__name__, [])
        try:
            rest = super().parse_args(ctx, args)
        except click.UsageError as error:
            found.append(error)
        if found:
            raise Refusal([_problem(error) for error in found])
        return rest


def plain(text: str) -> str:
    """Text of a file or a person, safe for a terminal: what does not show, or changes direction, becomes an escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def json_text(value: object) -> str:
    """One JSON value as text, never NaN or Infinity, and nothing in it that a terminal would obey."""
    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
    utf8 = (getattr(sys.stdout, "encoding", None) or "utf-8").lower().startswith("utf")
    return _BEYOND_ASCII.sub(lambda found: _json_sign(found.group(), as_it_is=utf8), text)


def _json_sign(sign: str, *, as_it_is: bool) -> str:
    return sign if as_it_is and sign.isprintable() else json.dumps(sign)[1:-1]


def note_json(ctx: click.Context, args: Sequence[str]) -> None:
    """Remember from what was typed whether this run prints JSON, so that a refusal does too."""
    options = args[: args.index("--")] if "--" in args else args
    ctx.meta[_JSON] = "--json" in options


def note_written(ctx: click.Context) -> None:
    """Remember that files were written: from here on nothing can be refused."""
    ctx.meta[_WRITTEN] = True


@contextmanager
def refuse_politely(ctx: click.Context | None = None) -> Iterator[None]:
    """Turn what input or disk did wrong into exit code 2, all problems on standard error; no traceback."""
    try:
        yield
    except Refusal as refusal:
        typed = any(isinstance(problem, OptionProblem) for problem in refusal.problems)
        _refuse(ctx, refusal.problems, see_help=typed)
    except click.exceptions.NoArgsIsHelpError:
        raise  # click shows the help
    except click.UsageError as error:
        _refuse(ctx or error.ctx, [_problem(error)], see_help=True)
    except BrokenPipeError:
        _stop_printing()
        sys.exit(0)  # the reader of our output has seen enough
    except OSError as error:
        reason = _reason(error)
        if ctx and ctx.meta.get(_WRITTEN):
            click.echo(f"The handover is written, but not all that comes after it: {plain(reason)}", err=True)
            sys.exit(NOT_ALL_DONE)
        _refuse(ctx, [OptionProblem(None, None, "files that can be read and written", reason)])
    except Exception as error:
        if not _is_one_of(error, "JobProblems", "BookRefusal"):
            raise
        _refuse(ctx, getattr(error, "problems", ()))


def _reason(error: OSError) -> str:
    """What a disk did, and where; of a full one also what to do."""
    where = f"{error.filename}: " if error.filename else ""
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return f"{where}the disk is full; free some space and do it again"
    return f"{where}{error.strerror or error}"


def _refuse(ctx: click.Context | None, problems: Sequence[Problem], *, see_help: bool = False) -> NoReturn:
    """Say everything that is wrong and leave with exit code 2."""
    if ctx and ctx.meta.get(_JSON):
        with _as_far_as_it_goes():
            click.echo(json_text({"problems": [problem.as_json() for problem in problems]}))
    said = _grouped(problems)
    lines = [f"{len(said)} {'problem' if len(said) == 1 else 'problems'}, nothing was written:"]
    lines += [f"  {plain(sentence)}" for sentence in said]
    if ctx and see_help:
        lines.append(plain(f"{ctx.command_path} {ctx.invoked_subcommand or ''}".strip()) + " --help says more.")
    with _as_far_as_it_goes():
        click.echo("\n".join(lines), err=True)
    sys.exit(REFUSED)


def _grouped(problems: Sequence[Problem]) -> list[str]:
    """A sentence for each problem, in order; what is wrong alike in many rows of a file is said once, with the rows."""
    rows: dict[object, list[int]] = {}
    for problem in problems:
        if (row := getattr(problem, "row", None)) is not None:
            rows.setdefault(_alike(problem), []).append(row)
    said: dict[object, str] = {}
    for at, problem in enumerate(problems):
        there = rows.get(_alike(problem), [])
        many = len(there) >= FEWEST_ALIKE and getattr(problem, "row", None) is not None
        said.setdefault(_alike(problem) if many else at, problem.sentence() + (_more_rows(there[1:]) if many else ""))
    return list(said.values())


def _alike(problem: Problem) -> tuple[object, ...]:
    return tuple(getattr(problem, name, None) for name in _SAME)


def _more_rows(rows: Sequence[int]) -> str:
    """The further rows in words, neighbours as a stretch: "; the same in 18 more rows: 9-25, 40"."""
    stretches: list[list[int]] = []
    for row in rows:
        if stretches and row == stretches[-1][-1] + 1:
            stretches[-1][1:] = [row]
        else:
            stretches.append([row])
    named = ", ".join("-".join(map(str, stretch)) for stretch in stretches[:MOST_STRETCHES])
    more = ", …" if len(stretches) > MOST_STRETCHES else ""
    return f"; the same in {len(rows)} more rows: {named}{more}"


@contextmanager
def _as_far_as_it_goes() -> Iterator[None]:
    """Print what can be printed; a full disk or a closed pipe behind the output changes no exit code."""
    try:
        yield
    except OSError:
        _stop_printing()


def _stop_printing() -> None:
    """Send what is still to be printed nowhere, as the reader of standard output has left."""
    with suppress(OSError, ValueError, AttributeError):  # no standard output, or none with a descriptor
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())


def _problem(error: click.UsageError) -> OptionProblem:
    """What click found wrong with the command line, in our words."""
    name = _name_of(error)
    match error:
        case Misread():
            return OptionProblem(name, error.read, error.expected)
        case click.MissingParameter():
            asked = (error.message or getattr(error.param, "help", None) or "the path of a folder").rstrip(".")
            expected = asked[0].lower() + asked[1:]
            return OptionProblem(name, None, expected, f"not given, expected {expected}")
        case click.NoSuchOption():
            near = "".join(f"; the nearest is {option}" for option in (error.possibilities or [])[:1])
            return OptionProblem(error.option_name, None, "an option of this command", f"no such option{near}")
    kind = getattr(getattr(error, "param", None), "type", None)
    if isinstance(kind, click.IntRange | click.FloatRange):
        what = "a whole number" if isinstance(kind, click.IntRange) else "a number"
        typed = _TYPED.search(error.message)
        return OptionProblem(name, typed and typed.group(1), f"{what} from {kind.min:g} to {kind.max:g}")
    said = error.format_message().rstrip(".")
    return OptionProblem(name, None, "what --help says", f"{said[:1].lower()}{said[1:]}")


def _name_of(error: click.UsageError) -> str | None:
    """The option or argument an error is about, as typed."""
    param: click.Parameter | None = getattr(error, "param", None)
    if isinstance(param, click.Argument):
        return param.human_readable_name
    if param is not None:
        return max(param.opts, key=len)
    return getattr(error, "option_name", None)


def _short(text: str) -> str:
    """The text, its middle left out when it is long: of a path, both ends matter."""
    half = LONGEST_SHOWN // 2
    return text if len(text) <= LONGEST_SHOWN else f"{text[:half]}…{text[-half:]}"
