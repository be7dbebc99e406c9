"""``tapehook close-up`` on the demo job: the documented shape, the table, and refusals in words."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema, strictly

DEMO = str(ROOT / "src" / "tapehook" / "demo_job")


def close_up(*args: str) -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("close-up", DEMO, "--lens", "L05", *args)
    assert list(misfits(answer, schema("close-up"))) == []
    return answer


def test_a_filter_of_the_tray_is_its_power() -> None:
    """The demo's half dioptre, named or typed, is the same: sharp to 2 m from the glass."""
    named, typed = close_up("--filter", "half dioptre"), close_up("--power", "+0.5 dpt")
    assert named == typed
    assert named["far_m"] - named["front_m"] == pytest.approx(2.0)
    assert named["marks"][0]["scale_m"] is None
    assert "taken to stand" in " ".join(named["assumptions"])
    assert "taken to stand" not in " ".join(close_up("--power", "0.5", "--front", "150mm")["assumptions"])
    assert close_up("--power", "0.5", "--power", "1")["power_dpt"] == 1.5


def test_people_get_a_table() -> None:
    """The range first, then each round distance with what the scale says and the ring, in feet as the lens is read."""
    shown = run("close-up", DEMO, "--lens", "L05", "--power", "0.5", width=100).stdout
    assert shown.startswith("L05 with 0.5 dpt: 1'8")
    for words in ("scale says", "6'", "Lay a strip of its own", "assumed: The close-up lens"):
        assert words in shown
    assert "none is on hand" in run("close-up", DEMO, "--lens", "L05", "--near", "60cm", "--far", "3m").stdout


@pytest.mark.parametrize(
    "args, words",
    [
        ((), ["--power", "--near and --far"]),
        (("--power", "strong", "--near", "1m"), ["strong", "--far"]),
        (("--power", "25"), ["powers from 0 to 20"]),
        (("--filter", "pair"), ["there are: half dioptre"]),
        (("--power", "1", "--front", "5mm"), ["--front", "the pupil's"]),
        (("--near", "3m", "--far", "60cm"), ["--near", "a far one behind it"]),
        (("--power", "1", "--stop", "T"), ["--stop"]),
    ],
)
def test_what_cannot_be_is_refused(args: tuple[str, ...], words: list[str]) -> None:
    """All that is wrong is said at once."""
    said = " ".join(refused("close-up", DEMO, "--lens", "L05", *args))
    assert all(word in said for word in words), said


def test_lenses_that_cannot_be_reckoned_with_are_refused() -> None:
    """A lens that is not there."""
    assert "the id of a lens" in " ".join(refused("close-up", DEMO, "--lens", "L99", "--power", "1"))


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=10).filter(lambda text: "\0" not in text)
ANY = TEXTS | st.floats(-1e4, 1e4).map(lambda x: f"{x:.6g}") | st.sampled_from(["1m", "inf", "60cm", "T2", "0.5dpt"])


@settings(max_examples=30)
@given(options=st.dictionaries(st.sampled_from(["power", "front", "near", "far", "stop"]), ANY))
def test_anything_typed_is_answered_or_refused(options: dict[str, str]) -> None:
    """Exit code 0 with the documented shape, or 2 with problems."""
    result = run("close-up", DEMO, "--lens", "L05", "--json", *(f"--{name}={text}" for name, text in options.items()))
    assert result.exit_code in {0, 2}, result.output
    shape = "close-up" if result.exit_code == 0 else "problems"
    assert list(misfits(strictly(result.stdout), schema(shape))) == []
