"""``tapehook depth``: the figures of ``tapehook.optics``, every assumption said, and what cannot be is refused."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import parse_distance
from tapehook.optics import (
    Pupil,
    depth_of_field,
    depth_uncertainty,
    hyperfocal_m,
    nearest_possible_m,
    sharp_blur_m,
    thin_pupil,
)
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema

USUAL = ("--focal", "50mm", "--stop", "T2", "--distance", "7'")
WITH_PUPIL = ("--focal", "50mm", "--f-number", "2", "--pupil-to-sensor", "41mm", "--pupil-magnification", "1.15")


def depth(*args: str) -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("depth", *args)
    assert list(misfits(answer, schema("depth"))) == []
    return answer


@given(
    focal_mm=st.floats(8, 400),
    f_number=st.floats(0.7, 32),
    distance=st.one_of(st.just(math.inf), st.floats(0.05, 1e4)),
    coc_um=st.floats(2, 100),
    floor=st.floats(0.01, 0.999) | st.floats(1.001, 1.2),
    pupil=st.none() | st.tuples(st.integers(-300, 300), st.floats(0.2, 5)),
)
def test_figures_are_those_of_the_optics(
    focal_mm: float,
    f_number: float,
    distance: float,
    coc_um: float,
    floor: float,
    pupil: tuple[int, float] | None,
) -> None:
    """The command adds no arithmetic of its own: each figure is the one ``tapehook.optics`` gives, to 10 digits.

    ``floor`` is the blur floor as a part of the circle of confusion; its texts lose a digit or two where it comes
    close to it.
    """
    floor_um = floor * coc_um
    focal_m = focal_mm / 1e3
    known = Pupil(pupil[0] / 1e3, pupil[1]) if pupil else thin_pupil(focal_m)
    distance_m = max(distance, float(nearest_possible_m(focal_m, known)) + 1e-3, 1e-3)
    pupil_args = ["--pupil-to-sensor", f"{pupil[0]}mm", "--pupil-magnification", repr(pupil[1])] if pupil else []
    args = ["--focal", f"{focal_mm!r}mm", "--f-number", repr(f_number), "--coc", f"{coc_um!r}um"]
    args += ["--blur-floor", f"{floor_um!r}um", *pupil_args]
    answer = depth(*args, "--distance", "inf" if math.isinf(distance_m) else f"{distance_m!r} m")

    blur_m = sharp_blur_m(coc_um / 1e6, floor_um / 1e6)
    expected = depth_of_field(distance_m, focal_m, f_number, blur_m, known)
    hyperfocal, _ = hyperfocal_m(focal_m, f_number, blur_m, known)
    figures: dict[str, Any] = {
        "near_m": expected.near_m,
        "far_m": expected.far_m,
        "hyperfocal_m": hyperfocal,
        "half_width_dpt": expected.half_width_dpt,
        "vergence_dpt": expected.vergence_dpt,
        "working_f_number": expected.working_f_number,
        "magnification": expected.state.magnification,
        "f_number": f_number,
        "distance_m": distance_m,
    }
    for name, figure in figures.items():
        value = float(figure)
        assert answer[name] == (pytest.approx(value, rel=1e-10) if math.isfinite(value) else None), name


@given(distance_m=st.floats(0.5, 1e4), focal_mm=st.floats(10, 100), transmission=st.floats(0.3, 1))
def test_f_number_comes_from_stop_and_transmission(distance_m: float, focal_mm: float, transmission: float) -> None:
    """N = T sqrt(transmission), and with pupil data and a measured transmission nothing is uncertain."""
    args = ("--focal", f"{focal_mm}mm", "--stop", "T2.8", "--distance", f"{distance_m} m")
    pupil = ("--pupil-to-sensor", "20mm", "--pupil-magnification", "1.2")
    answer = depth(*args, "--transmission", repr(transmission), *pupil)
    assert answer["f_number"] == pytest.approx(2.8 * math.sqrt(transmission), rel=1e-14)
    assert answer["uncertainty_percent"] == 0


@given(distance_m=st.floats(0.5, 1e4), focal_mm=st.floats(10, 100))
def test_what_is_assumed_makes_the_width_uncertain(distance_m: float, focal_mm: float) -> None:
    """Without pupil data and transmission the +- is that of ``depth_uncertainty``, null where it is endless."""
    answer = depth("--focal", f"{focal_mm!r}mm", "--stop", "T2", "--distance", f"{distance_m!r} m")
    spread = depth_uncertainty(distance_m, focal_mm / 1e3, pupil_known=False, t_over_n=1 / math.sqrt(0.85))
    value = 100 * float(spread)
    assert answer["uncertainty_percent"] == (pytest.approx(value, rel=1e-12) if math.isfinite(value) else None)
    assert any("do not trust" in sentence for sentence in answer["assumptions"]) == math.isinf(value)


def test_infinity_is_null() -> None:
    """JSON has no infinity: where the far limit or the focus is infinite, the value is null."""
    answer = depth("--focal", "50mm", "--stop", "T2", "--distance", "inf")
    assert (answer["distance_m"], answer["far_m"], answer["total_m"]) == (None, None, None)
    # Focused at infinity the near limit is the hyperfocal distance less what the lens moves: 54.3 m both.
    assert answer["near_m"] == pytest.approx(answer["hyperfocal_m"], rel=1e-3)


@pytest.mark.parametrize("written", ["∞", "inf", "INF", "infinity", "Infinity"])
def test_infinity_is_metric_however_it_is_written(written: str) -> None:
    """The letters "in" of infinity are no inches."""
    assert "near        54.3 m\n" in run("depth", "--focal", "50mm", "--stop", "T2", "--distance", written).stdout


@pytest.mark.parametrize(
    "option, written, sentence",
    [
        ("--transmission", "0.9", "Transmission not given"),
        ("--coc", "0.02mm", "No circle of confusion given"),
        ("--blur-floor", "0.01mm", "No blur floor given"),
    ],
)
def test_each_assumption_is_said_until_it_is_one_no_more(option: str, written: str, sentence: str) -> None:
    """What was not given is assumed and said so, in JSON and in text; once given, nothing is said of it."""
    assert any(said.startswith(sentence) for said in depth(*USUAL)["assumptions"])
    assert f"assumed: {sentence}" in run("depth", *USUAL).stdout
    assert not any(said.startswith(sentence) for said in depth(*USUAL, option, written)["assumptions"])


@pytest.mark.parametrize(
    "stop, said",
    [
        ("2", ["2 is taken as a T-stop; write f/2 for an f-number."]),
        ("T5.6", ["T5.6 is taken as 5.6; the exact stop is 5.657."]),
        ("f/5.6", []),
        ("T4", []),
    ],
)
def test_how_the_stop_was_understood_is_said(stop: str, said: list[str]) -> None:
    """A bare number is a T-stop, and a rounded label counts as it is written: both are said where they matter."""
    args = ("--focal", "50mm", "--distance", "2 m", "--transmission", "0.85", "--coc", "0.02mm", "--blur-floor")
    strays = ("--missed-mark", "10cm", "--lean", "5", "--sway", "0")
    answer = depth(
        *args, "0.01mm", *strays, "--stop", stop, "--pupil-to-sensor", "41mm", "--pupil-magnification", "1.15"
    )
    assert answer["assumptions"] == [*said, "The lens is taken to focus by moving as a whole."]


def test_the_f_number_given_overrides_the_stop() -> None:
    """--f-number is the geometry itself: neither stop nor transmission changes it."""
    answer = depth(*USUAL, "--f-number", "1.9", "--transmission", "0.5")
    assert (answer["f_number"], answer["stop"]) == (1.9, "f/1.9")


def test_a_blur_floor_that_reaches_the_circle_of_confusion_leaves_no_depth() -> None:
    """Then nothing passes as sharp: near and far fall on the focus, and the answer says why."""
    answer = depth(*USUAL, "--blur-floor", "0.03mm")
    assert answer["half_width_dpt"] == 0
    assert answer["near_m"] == answer["far_m"] == pytest.approx(parse_distance("7'"), rel=1e-12)
    assert (answer["total_m"], answer["hyperfocal_m"]) == (0, None)
    assert "there is no depth of field" in answer["assumptions"][-1]
    assert "in all      0 " in run("depth", *USUAL, "--blur-floor", "0.03mm").stdout
    at_infinity = depth("--focal", "50mm", "--stop", "T2", "--distance", "inf", "--blur-floor", "0.03mm")
    assert (at_infinity["near_m"], at_infinity["far_m"], at_infinity["total_m"]) == (None, None, 0)


@pytest.mark.parametrize(
    "units, near",
    [((), "near        6'9\""), (("--units", "metric"), "near        2.06 m")],
)
def test_distances_are_printed_as_they_were_typed_or_as_asked(units: tuple[str, ...], near: str) -> None:
    """Feet typed give feet; --units says otherwise."""
    assert near in run("depth", *USUAL, *units).stdout


def test_the_text_holds_every_figure_with_its_unit() -> None:
    """For people: near, far, width with its +-, hyperfocal and half-width, each with a unit.

    By hand: s = 2 - 0.041 - 0.05/1.15, v = (s + sqrt(s^2 - 4 f^2))/2 = 1.91422, m = f/v = 0.02612, u = v + f/P
    = 1.95769, w = N c/(f^2 (1 + m/P)) = 0.019556; near and far are 1/(1/u +- w) + 0.041 + f m.
    """
    said = run("depth", *WITH_PUPIL, "--distance", "2 m").stdout.splitlines()
    assert said[:8] == [
        "50 mm at f/2 (f/2), focus 2 m",
        "  near        1.93 m",
        "  far         2.08 m",
        "  in all      0.15 m   (exact for these data)",
        "  hyperfocal  50.1 m",
        "  half-width  0.01956 dpt, working f-number 2.05",
        "  forgives    7.2 cm nearer, 7.8 cm farther",
        "  chance      50 % to be sharp, straying 11 cm (one sd)",
    ]
    strict = run_json("depth", *WITH_PUPIL, "--distance", "2 m", "--missed-mark", "2cm", "--lean", "1cm", "--sway", "0")
    assert strict["chance_sharp"] > 0.99


NOT_FOCUSED = "the nearest this lens can focus at all"


@pytest.mark.parametrize(
    "args, expected",
    [
        pytest.param(
            [],
            ["--focal: not given", "--distance: not given", "--stop: not given, expected a stop such as T2, or --f"],
            id="nothing given",
        ),
        pytest.param(
            ["--focal", "24-70", "--distance", "7", "--stop", "2.8/4", "--coc", "x", "--units", "yards"],
            [
                "--focal: “24-70”",
                "--distance: “7” has no unit and could mean 7 m or 7 ft",
                "--stop: “2.8/4”",
                "--units: “yards” cannot be read; expected metric or imperial",
                "--coc: “x”",
            ],
            id="five texts nobody can read",
        ),
        pytest.param(
            [*USUAL, "--pupil-to-sensor", "41mm"],
            ["--pupil-magnification: not given, but --pupil-to-sensor is: they go together"],
            id="pupil place alone",
        ),
        pytest.param(
            [*USUAL, "--pupil-magnification", "1.1", "--transmission", "85"],
            ["--transmission: “85” is out of range and could mean 85 %", "--pupil-to-sensor: not given, but"],
            id="pupil magnification alone, and another problem",
        ),
        pytest.param(
            ["--focal", "50mm", "--stop", "T2", "--distance", "19 cm"],
            [f'--distance: read "19 cm", expected at least 0.2 m from the image plane, {NOT_FOCUSED}'],
            id="nearer than a thin lens can focus",
        ),
        pytest.param(
            [*WITH_PUPIL, "--distance", "18 cm", "--blur-floor", "2 m"],
            ["--blur-floor: “2 m” is out of range; expected a blur from 0.001 µm to 1 m", "--distance: read"],
            id="nearer than this lens can focus, and another problem",
        ),
        pytest.param(
            [
                *("--focal", "50mm", "--distance", "inf", "--f-number", "0"),
                *("--pupil-to-sensor", "2000m", "--pupil-magnification", "1e9"),
            ],
            [
                "--f-number: “0” is out of range",
                "--pupil-to-sensor: “2000m” is out of range",
                "--pupil-magnification: “1e9”",
            ],
            id="out of any range",
        ),
        pytest.param([*USUAL, "extra"], ["got unexpected extra argument (extra)"], id="an argument"),
        pytest.param([*USUAL, "--blur"], ["--blur: no such option; the nearest is --blur-floor"], id="an option"),
        pytest.param([*USUAL, "--coc"], ["--coc: option '--coc' requires an argument"], id="an option without value"),
    ],
)
def test_what_cannot_be_is_refused_all_at_once(args: list[str], expected: list[str]) -> None:
    """Exit code 2 and one sentence for each problem: the option, what was read, what was expected."""
    sentences = refused("depth", *args)
    assert len(sentences) == len(expected)
    for sentence, start in zip(sentences, expected, strict=True):
        assert sentence.startswith(start)


def test_a_stop_without_a_letter_is_printed_as_the_t_stop_it_was_taken_for() -> None:
    """2 is taken as T2, said as an assumption, and printed as T2; f/2 stays what it is."""
    typed = ("depth", "--focal", "50mm", "--distance", "7'")
    assert run_json(*typed, "--stop", "2")["stop"] == "T2"
    assert run_json(*typed, "--stop", "f/2")["stop"] == "f/2"
