"""``tapehook exposure``: each quantity from the others, every assumption said, and what cannot be is refused."""

import math
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import read_job
from tapehook.notation import LUX_PER_FOOT_CANDLE
from tapehook.optics import depth_of_field
from tapehook.prep.basis import basis_of
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

USUAL = {"stop": "T4", "ei": "800", "fps": "24", "shutter": "180deg", "light": "24fc"}


def typed(**options: str | None) -> list[str]:
    """The usual options, some given anew or left out."""
    return [part for name, text in (USUAL | options).items() if text is not None for part in (f"--{name}", text)]


def exposure(*args: str) -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("exposure", *args)
    assert list(misfits(answer, schema("exposure"))) == []
    return answer


@pytest.mark.parametrize(
    "name, value, text",
    [
        ("stop", 4.0, "T4"),
        ("ei", 800.0, "EI 800"),
        ("fps", 24.0, "24 fps, 1/48 s"),
        ("shutter", 180.0, "180°, 1/48 s"),
        ("light", 24.0 * LUX_PER_FOOT_CANDLE, "24 fc, 258 lx"),
    ],
)
def test_what_is_left_out_is_solved(name: str, value: float, text: str) -> None:
    """T4, EI 800, 1/48 s and 24 foot-candles go together (D. Mullen's formula): each follows from the others."""
    answer = exposure(*typed(**{name: None}))
    assert answer["solved"] == name
    assert answer["value"] == pytest.approx(value, rel=1e-9)
    assert (answer["text"], answer["stops_from_given"]) == (text, None)


def test_with_nothing_left_out_the_nd_is_solved() -> None:
    """Eight times the light takes ND 0.9, three stops; too little light takes none, and says how short it is."""
    much = exposure(*typed(light="192fc"))
    assert (much["solved"], much["text"]) == ("nd", "ND 0.9, 3 stops")
    assert (much["value"], much["stops_from_given"]) == pytest.approx((3 * math.log10(2), 3.0), abs=1e-9)
    little = exposure(*typed(light="12fc"))
    assert (little["value"], little["text"]) == (None, "no ND: the light is 1 stop short")
    assert little["stops_from_given"] == pytest.approx(-1.0)


def test_with_an_nd_too_it_says_how_far_off() -> None:
    """Two NDs and a factor add up: 0.6 + 0.3 + log 2 against three stops too much is a stop under."""
    answer = exposure(*typed(light="192fc"), "--nd", "0.6", "--nd", "ND 0.3", "--filter", "x2")
    assert answer["solved"] == "exposure"
    assert answer["value"] == pytest.approx(-(0.9 / math.log10(2) + 1 - 3), abs=1e-9)
    assert answer["text"] == "1 stop under"


@given(
    t=st.floats(1, 9),
    ei=st.integers(100, 6400),
    fps=st.floats(4, 96),
    angle=st.floats(20, 355),
    density=st.floats(0, 1),
)
def test_the_light_solved_gives_the_stop_back(t: float, ei: int, fps: float, angle: float, density: float) -> None:
    """Whatever is typed, the light found, typed in again, makes the exposure right and gives the stop back."""
    options = {"stop": f"T{t:.4f}", "ei": str(ei), "fps": f"{fps:.4f}", "shutter": f"{angle:.4f}deg"}
    nd = ("--nd", f"ND {density:.4f}")
    lux = exposure(*typed(**options, light=None), *nd)["value"]
    again = {**options, "light": f"{lux:.9f} lx"}
    assert exposure(*typed(**again), *nd)["stops_from_given"] == pytest.approx(0.0, abs=1e-4)
    back = exposure(*typed(**{**again, "stop": None}), *nd)["value"]
    assert back == pytest.approx(t, rel=0.06)  # a label stands for its exact stop, up to 5 % away


def test_the_constant_is_stated_and_can_be_given() -> None:
    """The assumptions name the constant first; 250 asks for less light by 250/269.1."""
    usual, given_one = exposure(*typed(light=None)), exposure(*typed(light=None), "--meter", "250")
    assert "269.1 lux seconds" in usual["assumptions"][0]
    assert "250 lux seconds" in given_one["assumptions"][0]
    assert given_one["value"] / usual["value"] == pytest.approx(250 * 0.3048**2 / 25)


def test_a_shutter_time_needs_no_frame_rate() -> None:
    """1/48 s at any speed takes the same light, and says so where a speed is given."""
    alone = exposure(*typed(shutter="1/48", fps=None, light=None))
    assert alone["value"] == pytest.approx(exposure(*typed(light=None))["value"])
    assert "frame rate does not" in " ".join(exposure(*typed(shutter="1/48", light=None))["assumptions"])


@pytest.mark.parametrize(
    "options, words",
    [
        ({"light": None, "ei": None}, ["--ei", "--light", "leave out one only"]),
        ({"stop": "f/4", "ei": "many", "light": "24"}, ["f/4", "many", "24 fc or 24 lx"]),
        ({"shutter": "1/12"}, ["--shutter", "does not fit a frame at 24 fps"]),
        ({"shutter": None, "light": "6fc"}, ["--shutter", "1 stop short with it fully open"]),
        ({"stop": None, "light": "9000000 lx"}, ["--stop", "which no lens has"]),
        ({"nd": "3.5", "filter": "x1000000"}, ["density 9.5", "at most 9"]),
        ({"fps": None, "light": "0.001fc"}, ["--fps", "would have to be"]),
    ],
)
def test_what_cannot_be_is_refused(options: dict[str, str | None], words: list[str]) -> None:
    """All that is wrong is said at once, and nothing is solved."""
    said = " ".join(refused("exposure", *typed(**options)))
    assert all(word in said for word in words), said


def test_people_read_one_line_and_the_assumptions() -> None:
    """What was solved stands first, then what it rests on."""
    shown = run("exposure", *typed(stop=None)).stdout.splitlines()
    assert shown[0] == "stop     T4"
    assert all(line.startswith("  assumed: ") for line in shown[1:])


def test_ways_out_are_listed_where_it_is_off() -> None:
    """T5.6 wanted, light for T2.8: what gives two stops, and what the stop costs; nothing where it is right."""
    shown = run("exposure", *typed(stop="T5.6", light="12fc")).stdout
    for words in ("48 fc", "EI 3200", "6 fps", "360°", "T2.8, with 50 % of the depth"):
        assert f"way out: {words}" in shown
    assert "a lens 0.71 times as long, with the same depth" in shown
    assert "from 1.41 times as far" in shown
    assert "way out" not in run("exposure", *typed(light="192fc")).stdout
    over = run("exposure", *typed(light="192fc"), "--nd", "0.6").stdout
    assert "way out: ND 0.9 in all" in over
    in_time = run("exposure", *typed(stop="T5.6", light="12fc", shutter="1/48")).stdout
    assert "fps" not in in_time.replace("frame rate", "")


def test_the_tray_makes_the_nd() -> None:
    """Of the demo's filters 0.3 and 0.6 make 0.9; a warm one is named so; what is no job is no tray."""
    demo = str(ROOT / "src" / "tapehook" / "demo_job")
    assert exposure(*typed(light="192fc"), "--tray", demo)["text"] == "ND 0.9, 3 stops; on hand ND 0.3 + ND 0.6"
    assert "(ND 1.2: a little warm)" in exposure(*typed(light="384fc"), "--tray", demo)["text"]
    assert "too thin" in exposure(*typed(light="90000fc"), "--tray", demo)["text"]
    assert "a job folder" in " ".join(refused("exposure", *typed(light="192fc"), "--tray", "/nowhere"))


def test_each_way_out_has_its_price_in_depth_and_exposure() -> None:
    """T5.6 with light for T2: all of it by light with the depth kept, by the stop with 2/5.657 of it, half by shutter.

    The half-width goes with the f-number, so T2 in place of T5.657 leaves 35 %; 180 to 360 degrees is one stop of 3.
    """
    answer = exposure(*typed(stop="T5.6", light="6fc"))
    ways = {way["way"]: way for way in answer["ways_out"]}
    assert set(ways) == {"light", "ei", "speed", "shutter", "stop", "lens", "distance"}
    assert (ways["light"]["depth_ratio"], ways["light"]["left_stops"]) == (1.0, 0.0)
    assert ways["stop"]["depth_ratio"] == pytest.approx(2.0 / (4 * math.sqrt(2)))
    assert (ways["shutter"]["brings_stops"], ways["shutter"]["left_stops"]) == pytest.approx((1.0, 2.0))
    (finding,) = answer["findings"]
    assert (finding["code"], finding["severity"]) == ("exposure.light", "fix")
    assert finding["message"] == "At T5.6 the exposure is 3 stops under."
    assert finding["next_step"].startswith("48 fc, the depth as it is; or EI 6400")
    assert exposure(*typed())["findings"] == exposure(*typed())["ways_out"] == []


def test_a_stop_wider_than_the_lens_is_told() -> None:
    """L05 of the demo opens to T1.3: T1 wanted is 2 log2 1.3 stops wider; the light is counted at T1.3."""
    demo = str(ROOT / "src" / "tapehook" / "demo_job")
    answer = exposure(*typed(stop="T1", light="1.5fc"), "--tray", demo, "--lens", "L05")
    (finding,) = answer["findings"]
    assert (finding["code"], finding["lens_id"]) == ("exposure.lens", "L05")
    assert finding["figure"]["value"] == pytest.approx(2 * math.log2(1.3))
    by_light = next(way for way in answer["ways_out"] if way["way"] == "light")
    assert by_light["value"] == pytest.approx(1.5 * LUX_PER_FOOT_CANDLE * 1.3**2, rel=1e-6)
    assert not any(way["way"] == "stop" for way in answer["ways_out"])
    solved = exposure(*typed(stop="T1", light=None), "--tray", demo, "--lens", "L05")
    assert [one["code"] for one in solved["findings"]] == ["exposure.lens"]
    assert "--tray" in " ".join(refused("exposure", *typed(), "--lens", "L05"))
    assert "lenses.csv" in " ".join(refused("exposure", *typed(), "--tray", demo, "--lens", "L99"))


def test_a_depth_asks_for_its_stop() -> None:
    """0.5 m at 2.5 m on L05, whose pupil is known: the stop found gives that depth by the optics; with light for T2 the
    ways out start from it; a stop besides, no distance or no lens is refused."""
    demo = ROOT / "src" / "tapehook" / "demo_job"
    asked = (*typed(stop=None, light="6fc"), "--tray", str(demo), "--lens", "L05")
    answer = exposure(*asked, "--depth", "50cm", "--distance", "2.5m")
    job = read_job(demo)
    (lens,) = [one for one in job.lenses if one.id == "L05"]
    basis = basis_of(lens, job)
    optics = basis.optics
    assert optics is not None
    (finding,) = answer["findings"]
    by_stop = next(way for way in answer["ways_out"] if way["way"] == "stop")
    wanted = by_stop["value"] / by_stop["depth_ratio"]
    depth = depth_of_field(2.5, optics.focal_m, wanted * math.sqrt(basis.transmission), optics.blur_m, optics.pupil)
    assert float(depth.far_m - depth.near_m) == pytest.approx(0.5, rel=1e-6)
    assert answer["stops_from_given"] == pytest.approx(-2 * math.log2(wanted / 2.0), abs=1e-6)
    assert finding["code"] == "exposure.light"
    assert "0.5 m from near to far at 2.5 m asks L05 for" in " ".join(answer["assumptions"])
    for args, words in (
        (("--depth", "50cm"), "a depth holds at a distance"),
        (("--depth", "50cm", "--distance", "2.5m", "--stop", "T4"), "the one asks for the other"),
        (("--depth", "1mm", "--distance", "2.5m"), "asks for T0.0"),
        (("--depth", "deep", "--distance", "inf"), "out of range"),
    ):
        assert words in " ".join(refused("exposure", *asked, *args)), args
    assert "--lens" in " ".join(
        refused("exposure", *typed(stop=None), "--tray", str(demo), "--depth", "1m", "--distance", "2m")
    )


def test_each_camera_has_its_tray(tmp_path: Path) -> None:
    """A filter in B's tray is not on hand for A; what is shared is for both; a camera nobody listed is refused."""
    job = Path(shutil.copytree(ROOT / "src" / "tapehook" / "demo_job", tmp_path / "job"))
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text.replace('id = "ND 0.3"\n', 'id = "ND 0.3"\ncamera = "B"\n'), encoding="utf-8")
    asked = (*typed(light="192fc"), "--tray", str(job))
    assert "on hand ND 0.3 + ND 0.6" in exposure(*asked, "--camera", "B")["text"]
    assert "ND 0.3" not in exposure(*asked, "--camera", "A")["text"]
    assert "a camera of the job: A, B, C" in " ".join(refused("exposure", *asked, "--camera", "Q"))


def test_filters_too_thin_are_told_with_the_ways_out() -> None:
    """Three of the demo's NDs make 2.4 at most: with light for ND 3.18 the rest is told, in stops, with what to do."""
    demo = str(ROOT / "src" / "tapehook" / "demo_job")
    answer = exposure(*typed(stop="T2", light="9000fc"), "--tray", demo)
    (finding,) = answer["findings"]
    assert finding["code"] == "exposure.filters"
    assert finding["figure"]["value"] == pytest.approx((answer["value"] - 2.4) / math.log10(2))
    assert {"ei", "speed", "shutter", "stop"} <= {way["way"] for way in answer["ways_out"]}
