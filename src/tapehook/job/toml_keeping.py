"""Writing new values into the text of a TOML file: order, comments and the way it is written stay where they can."""

import math
import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Any, cast

if TYPE_CHECKING:
    from tomlkit.container import Container
    from tomlkit.items import Table

_TEXT_OR_COMMENT = re.compile(
    r'"""(?:\\[\s\S]|[^\\])*?"{3,5}'
    r"|'''[\s\S]*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|(?P<comment>#[^\r\n]*)"
)


def comments_of(text: str) -> list[str]:
    """The comments of a TOML text in order, each from its sign on, without what ends its line."""
    found = (match["comment"] for match in _TEXT_OR_COMMENT.finditer(text))
    return [comment.rstrip() for comment in found if comment is not None]


def kept_text(before: str, wanted: Mapping[str, Any]) -> str:
    """The text ``before`` with the tables ``wanted`` in it: what did not change stands as it stood.

    ``before`` is TOML that tomllib reads. All its comments are in the text given back: each where it was, those of
    what is taken out at the end. Where the text cannot be changed in its place it is written anew, the comments at
    its head. What is given back always reads as ``wanted``.
    """
    if same(_meaning(before), wanted):
        return before
    plain = before.replace("\r\n", "\n").rstrip("\n") + "\n"
    text = _kept(plain, wanted)
    return text.replace("\n", "\r\n") if "\r\n" in before else text


def _kept(before: str, wanted: Mapping[str, Any]) -> str:
    text = _changed(before, wanted)
    if text is None or not same(_meaning(text), wanted):
        import tomli_w

        lines = "".join(f"{comment}\n" for comment in comments_of(before))
        return f"{lines}\n{tomli_w.dumps(wanted)}" if lines else tomli_w.dumps(wanted)
    lost = (Counter(comments_of(before)) - Counter(comments_of(text))).elements()
    added = "".join(f"{comment}\n" for comment in lost)
    return f"{text.rstrip()}\n\n{added}" if added else text


def same(one: object, other: object) -> bool:
    """True for values of TOML that say the same: 2 and 2.0, and what is no number twice; true is not 1."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, float) and isinstance(other, float) and math.isnan(one):
        return math.isnan(other)
    return isinstance(one, bool) == isinstance(other, bool) and one == other


def _meaning(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return None


def _changed(before: str, wanted: Mapping[str, Any]) -> str | None:
    """The text changed in its place; None where the library at hand cannot do it."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    head = _head(before)
    try:
        document = tomlkit.parse(before[len(head) :])
        _comments_to_headers(document)
        _put(document, wanted)
        return head + tomlkit.dumps(document)
    # Tables out of order and keys with dots make the library stumble, each in its way: then all is written anew.
    except (TOMLKitError, LookupError, TypeError, ValueError, AttributeError, RecursionError):
        return None


def _head(text: str) -> str:
    """The comments and empty lines before the first key or header."""
    found = re.match(r"(?:[ \t]*(?:#[^\n]*)?\n)*", text)
    return found.group() if found else ""


def _comments_to_headers(document: "Container") -> None:
    """Hand the comment lines before each header to that header.

    Whoever writes a comment before a header means what follows; the library takes it for the end of what went before,
    and would take it out with that.
    """
    from tomlkit.items import Null

    before = document
    for table in _with_headers(document):
        tail = _tail(before)
        if tail and not table.is_super_table():
            table.trivia.indent = "".join(before.body[at][1].as_string() for at in tail) + table.trivia.indent
            for at in tail:
                before.body[at] = (None, Null())
        before = table.value


def _with_headers(container: "Container") -> "Iterator[Table]":
    """The tables of a document in the order of their headers."""
    from tomlkit.items import AoT, Table

    for _, item in container.body:
        for table in item.body if isinstance(item, AoT) else [item] if isinstance(item, Table) else []:
            yield table
            yield from _with_headers(table.value)


def _tail(container: "Container") -> list[int]:
    """Where the comments and empty lines after the last key of a table stand, before the first table in it."""
    from tomlkit.items import AoT, Table

    items = [item for _, item in container.body]
    end = next((at for at, item in enumerate(items) if isinstance(item, AoT | Table)), len(items))
    start = next((at + 1 for at in reversed(range(end)) if container.body[at][0] is not None), 0)
    return list(range(start, end))


def _put(table: "Container | Table", wanted: Mapping[str, Any]) -> None:
    """Make a table of the library say what is wanted, with as few changes as can be."""
    for key in [key for key in table if key not in wanted]:
        del table[key]
    for key, value in wanted.items():
        if key not in table:
            table[key] = value
        elif not same(_plain(table[key]), value):
            _renew(table, key, value)


def _plain(value: Any) -> Any:  # noqa: ANN401 - of the library
    """A value of the library as Python has it."""
    return value.unwrap() if hasattr(value, "unwrap") else value


def _renew(table: "Container | Table", key: str, value: object) -> None:
    """Another value under a key that is there: into a table or a list of tables, or in place of it."""
    there: Any = table[key]
    if isinstance(there, Mapping) and isinstance(value, Mapping):
        _put(cast("Table", there), value)
    elif _tables(_plain(there)) and isinstance(value, list) and _tables(value):
        _put_in_list(there, value)
    else:
        table[key] = value


def _tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)


def _put_in_list(there: Any, wanted: list[Any]) -> None:  # noqa: ANN401 - a list of the library
    """Make a list of tables say what is wanted: those alike stay, others change in place or come and go."""
    old, new = [_sign(one) for one in _plain(there)], [_sign(one) for one in wanted]
    shift = 0
    for _, old_from, old_to, new_from, new_to in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        both = min(old_to - old_from, new_to - new_from)
        for at in range(both):
            _put(there[old_from + at + shift], wanted[new_from + at])
        for _ in range(old_to - old_from - both):
            del there[old_from + both + shift]
        for at in range(both, new_to - new_from):
            there.insert(old_from + at + shift, wanted[new_from + at])
        shift += (new_to - new_from) - (old_to - old_from)


def _sign(table: Mapping[str, Any]) -> str:
    """By what a table of a list is known again: its name where it has one, or all it says."""
    name = table.get("name")
    return name if isinstance(name, str) else repr(sorted((key, _number(value)) for key, value in table.items()))


def _number(value: object) -> object:
    """2 and 2.0 alike."""
    if isinstance(value, list):
        return [_number(one) for one in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value
