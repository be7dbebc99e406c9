"""Problems are told in one line, in order, and none of it can upset a screen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import JobProblems, Problem
from tapehook.job.problems import LONGEST_SHOWN, MOST_PER_FILE, in_order, shown


@pytest.mark.parametrize(
    "problem, sentence",
    [
        (
            Problem("readings.csv", 7, "position", "12O.5", "a number of degrees such as 131.8"),
            'readings.csv row 7, position: read "12O.5", expected a number of degrees such as 131.8',
        ),
        (Problem("lenses.csv", 3, "id", " ", "the id"), "lenses.csv row 3, id: empty, expected the id"),
        (Problem("lenses.csv", 1, None, None, "a column id"), "lenses.csv row 1: expected a column id"),
        (Problem("job.toml", None, "paper", "a5", "a4"), 'job.toml, paper: read "a5", expected a4'),
        (Problem("lenses.csv", None, None, None, "this file"), "lenses.csv: expected this file"),
    ],
)
def test_a_problem_is_a_sentence(problem: Problem, sentence: str) -> None:
    """Place, what was read, what was expected; what is not known is left out."""
    assert sentence == problem.sentence()
    assert sentence == problem.as_json()["sentence"]


@given(st.text(max_size=300))
def test_what_is_shown_is_one_short_line(text: str) -> None:
    """Control characters, line breaks and marks that turn the writing round are escaped, long values cut."""
    assert shown(text).isprintable()
    assert sum(1 for _ in shown(text)) <= LONGEST_SHOWN * len("\\U0001f3a5")


def test_long_values_keep_both_ends() -> None:
    """What is cut out is the middle: ends tell values apart that begin alike."""
    text = shown("a" * 100 + "z" * 100)

    assert len(text) == LONGEST_SHOWN
    assert text.startswith("aaa")
    assert text.endswith("zzz")
    assert "…" in text


def test_escapes_are_readable() -> None:
    """The escape names the character."""
    assert shown("a\x07b\nc\u202ed") == r"a\x07b\nc\u202ed"


def test_problems_come_by_file_and_row() -> None:
    """Files in the order they were read, rows in order within them, those of a whole file first."""
    found = [Problem("b", 3, None, None, ""), Problem("a", 9, None, None, ""), Problem("b", None, None, None, "")]

    assert [(problem.file, problem.row) for problem in in_order(found)] == [("b", None), ("b", 3), ("a", 9)]


def test_endless_lists_are_cut_and_say_so() -> None:
    """A file wrong in each row lists a thousand problems, and then how many more there are."""
    found = [Problem("readings.csv", row, None, None, "x") for row in range(1, MOST_PER_FILE + 43)]
    listed = in_order(found)

    assert len(listed) == MOST_PER_FILE + 1
    assert "42 more" in listed[-1].sentence()


def test_the_error_tells_all() -> None:
    """Its text is all sentences, one a line."""
    error = JobProblems([Problem("a", 1, None, None, "x"), Problem("b", 2, None, None, "y")])

    assert str(error) == "a row 1: expected x\nb row 2: expected y"
