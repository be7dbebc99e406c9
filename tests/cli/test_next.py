"""``tapehook next``: what to measure next, in the documented shape, and when it says that it is enough."""

import math
from pathlib import Path

import pytest

from tests.cli.jobs import JOB, LENSES, readings, write_small_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

REFERENCE = ROOT / "tests" / "truth" / "maps"


def _few(*distances: str) -> str:
    """The readings of the small job at some distances only."""
    lines = readings().splitlines()
    return "\n".join([lines[0], *(line for line in lines[1:] if line.split(",")[1] in distances)]) + "\n"


def test_the_next_marks_have_the_documented_shape(tmp_path: Path) -> None:
    """A 50 mm with five marks: what to read, best first, each going on from the last; at most as many as asked for."""
    folder = write_small_job(tmp_path / "job", readings=_few("0.7 m", "0.8 m", "1.2 m", "2.0 m", "5.0 m"))
    found = run_json("next", folder, "--lens", "N50", "--most", "3")
    assert list(misfits(found, schema("next"))) == []
    assert 1 <= len(found) <= 3
    shares = [share for mark in found for share in (mark["worst_depth_used_before"], mark["worst_depth_used_after"])]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] >= 0.25
    # Nothing was read beyond 5 m nor nearer than 0.7 m: the ends come first, and are read off the ring.
    assert [(mark["distance_m"], mark["distance_text"], mark["how"]) for mark in found[:2]] in (
        [(None, "∞", "read"), (0.6, "0.6 m", "read")],
        [(0.6, "0.6 m", "read"), (None, "∞", "read")],
    )


def test_it_says_when_it_is_enough(tmp_path: Path) -> None:
    """Where no distance uses a quarter there is nothing to read: an empty list, and the sentence."""
    folder = write_small_job(tmp_path / "job")
    assert run_json("next", folder, "--lens", "N50") == []
    said = " ".join(run("next", folder, "--lens", "N50").stdout.split())
    assert "Enough: every distance is under a quarter of the depth at T1.5; the map uses at most" in said


@pytest.mark.parametrize("there", [(), ("0.6 m",), ("0.6 m", "1.2 m", "inf")])
def test_the_first_marks(tmp_path: Path, there: tuple[str, ...]) -> None:
    """Without a map: close focus, infinity and what lies between, six in all with those that are there; no shares."""
    folder = write_small_job(tmp_path / "job", readings=_few(*there))
    found = run_json("next", folder, "--lens", "N50")
    assert list(misfits(found, schema("next"))) == []
    assert len(found) == 6 - len(there)
    assert {mark["worst_depth_used_before"] for mark in found} == {None}
    distances = [math.inf if mark["distance_m"] is None else mark["distance_m"] for mark in found]
    if not there:
        assert distances[:2] == [0.6, math.inf]
    assert not {"0.6 m": 0.6, "inf": math.inf}.items() & {(text, d) for text in there for d in distances}
    assert "There is no map yet." in run("next", folder, "--lens", "N50").stdout


def test_distances_are_in_the_system_of_the_lens(tmp_path: Path) -> None:
    """A lens engraved in feet is given feet and inches, also in a job in metres."""
    lenses = (
        LENSES.replace("\n", ",engraved_in\n", 1).replace("41,1.15", "41,1.15,feet").replace("4712,,", "4712,,,metric")
    )
    folder = write_small_job(tmp_path / "job", lenses=lenses, readings=_few())
    texts = {
        lens: [mark["distance_text"] for mark in run_json("next", folder, "--lens", lens)] for lens in ("N50", "F35")
    }
    assert all(text == "∞" or "'" in text for text in texts["N50"])
    assert all(text == "∞" or text.endswith(" m") for text in texts["F35"])
    assert f"Tape {texts['N50'][2]}" in run("next", folder, "--lens", "N50").stdout


def test_the_table_for_people(tmp_path: Path) -> None:
    """One line a mark, the stop above the shares, and what to do."""
    folder = write_small_job(tmp_path / "job", readings=_few("0.7 m", "0.8 m", "1.2 m", "2.0 m", "5.0 m"))
    said = " ".join(run("next", folder, "--lens", "N50", width=100).stdout.split())
    assert "N50, 50 mm T1.5 · serial 4711" in said
    assert "worst depth used at T1.5" in said
    assert "Read infinity" in said
    assert "Read each both ways" in said


@pytest.mark.parametrize(
    "instead, why",
    [
        ({"lenses": LENSES.replace(",0.6,4711", ",,4711"), "readings": _few()}, "close focus is not known"),
        ({"lenses": LENSES.replace("N50,50,1.5", "N50,,1.5")}, "depth used cannot be worked out"),
        (
            {"lenses": LENSES.replace("N50,50,1.5", "N50,50,"), "job": JOB.replace('shooting_stop = "T2.8"\n', "")},
            "depth used cannot be worked out",
        ),
        (
            {"readings": "lens_id,distance_m,position\n" + "".join(f"N50,{d},5\n" for d in (0.6, 0.8, 1, 2, 4))},
            "no map although it was read",
        ),
    ],
)
def test_what_cannot_be_judged_is_refused(tmp_path: Path, instead: dict[str, str], why: str) -> None:
    """No distance is made up: the reason is said, exit code 2."""
    folder = write_small_job(tmp_path / "job", **instead)
    (sentence,) = refused("next", folder, "--lens", "N50")
    assert sentence.startswith("--lens: nothing can be said of N50: ")
    assert why in sentence


def test_wrong_options_are_refused_together(tmp_path: Path) -> None:
    """A lens nobody has, no lens at all, and a count out of range."""
    folder = write_small_job(tmp_path / "job")
    assert refused("next", folder, "--lens", "X") == [f'--lens: read "X", expected the id of a lens in {folder}']
    sentences = refused("next", folder, "--most", "0")
    assert len(sentences) == 2
    assert any(sentence.startswith("--lens: not given") for sentence in sentences)


def test_every_reference_lens_gets_an_answer() -> None:
    """On the 25 reference lenses: marks in the documented shape, or an empty list; each lowers its worst or says so."""
    shape = schema("next")
    for number in range(1, 26):
        found = run_json("next", REFERENCE, "--lens", f"L{number:03d}", "--most", "2")
        assert list(misfits(found, shape)) == []
        for mark in found:
            assert mark["worst_depth_used_after"] <= mark["worst_depth_used_before"]
