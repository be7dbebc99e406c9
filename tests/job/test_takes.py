"""What a shot's file hands on: who comes first, soft takes and why."""

import pytest

from tapehook.job.takes import told_in, told_of

PLAN = {"title": "Window", "lens": "L05", "people": [{"name": "Ada"}, {"name": "Ivo"}]}


def test_soft_takes_in_order() -> None:
    """By number or name; a sharp take is none of them."""
    takes = [
        {"take": 3, "soft": True, "who": "Ada", "why": "missed the mark"},
        {"take": "4b"},
        {"take": 5, "soft": True},
    ]
    told = told_of({**PLAN, "takes": takes}, "window", "shots/window.toml")
    assert [one.take for one in told.soft] == [3, 5]
    assert [one.take for one in told.takes] == [3, "4b", 5]
    assert (told.title, told.lens_id) == ("Window", "L05")


@pytest.mark.parametrize(
    "more, who",
    [
        ({"priority": " Ivo "}, "Ivo"),
        ({"hold": [{"who": ["Ivo", "Ada"]}]}, "Ivo"),
        ({"hold": [{"who": ["Ivo"]}]}, None),
        ({}, "Ada"),
        ({"people": [{"name": "Ada"}]}, None),
        ({"people": "nobody", "hold": 3}, None),
    ],
)
def test_who_comes_first(more: dict[str, object], who: str | None) -> None:
    """As named, else the first of several in the first hold, else the first of several people."""
    assert told_of({**PLAN, **more}, "window", "shots/window.toml").priority == who


def test_all_shots_and_all_that_is_wrong() -> None:
    """A file without a plan is read too; what is wrong in two files is told at once, and the others are handed on."""
    texts = {
        "a": '[[takes]]\ntake = 1\nsoft = "yes"\n[[takes]]\nwhy = "rain"\n',
        "b": "takes = 3\n",
        "c": 'title = "T"\n[[takes]]\ntake = 1\n',
        "d": "no toml",
    }
    told, wrong = told_in(texts)
    assert [one.name for one in told] == ["c"]
    assert len(wrong) == 4
    assert "true or false" in wrong[0]
    assert "takes[2].take" in wrong[1]
    assert "shots/b.toml" in wrong[2]
    assert "shots/d.toml" in wrong[3]


def test_without_shots_there_is_nothing() -> None:
    """A job needs none."""
    assert told_in({}) == ((), [])
