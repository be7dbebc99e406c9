"""The figures of the pocket page, against the Python that prepared it and the command beside it."""

import json
import math
import random
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from click.testing import CliRunner

from tapehook.cli import main
from tapehook.handover.pocket import GRID_POINTS, limit_texts
from tapehook.job.records import PositionUnit
from tapehook.notation import (
    NotationError,
    Stop,
    format_distance,
    format_position,
    parse_distance,
    parse_focal_length,
    parse_length,
    parse_signed_length,
    parse_stop,
)
from tapehook.optics import Pupil, nearest_possible_m, thin_pupil
from tapehook.prep import Prep
from tapehook.prep.basis import stop_view
from tapehook.prep.shooting_map import map_at, moved_word
from tests.browser.pocket_jobs import OpenPocket

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

INPUTS = 1_000
SEED = 20_261_125
FIGURES = ("near_m", "far_m", "hyperfocal_m", "half_width_dpt", "f_number", "working_f_number", "uncertainty_percent")

ASK = """asked => asked.map(([optics, t, distance, fNumber]) => {
  const d = tapehook.depth(optics, t, distance === null ? Infinity : distance, fNumber);
  const plain = (x) => (Number.isFinite(x) ? x : null);
  return [d.nearM, d.farM, d.hyperfocalM, d.halfWidthDpt, d.fNumber, d.workingFNumber, 100 * d.uncertainty].map(plain);
})"""


def random_options(chance: random.Random) -> dict[str, str]:
    """Options of `tapehook depth`: 8 to 600 mm, T0.7 to T32, from just beyond life size to infinity."""

    def between(low: float, high: float) -> float:
        return math.exp(chance.uniform(math.log(low), math.log(high)))

    focal_mm = between(8, 600)
    options = {"--focal": f"{focal_mm!r}mm", "--stop": f"T{between(0.7, 32)!r}", "--coc": f"{between(0.003, 0.08)!r}mm"}
    pupil = thin_pupil(focal_mm / 1e3)
    if chance.random() < 0.5:
        place_mm, enlarged = focal_mm * chance.uniform(-0.5, 4), between(0.4, 8)
        options |= {"--pupil-to-sensor": f"{place_mm!r}mm", "--pupil-magnification": f"{enlarged!r}"}
        pupil = Pupil(place_mm / 1e3, enlarged)
    if chance.random() < 0.5:
        options["--transmission"] = f"{chance.uniform(0.4, 1.0)!r}"
    if chance.random() < 0.2:
        options["--f-number"] = f"{between(0.7, 32)!r}"
    if chance.random() < 0.4:
        options["--blur-floor"] = f"{float(options['--coc'][:-2]) * chance.uniform(0.01, 1.2)!r}mm"
    nearest = float(nearest_possible_m(focal_mm / 1e3, pupil))
    beyond = 10 ** chance.uniform(-5, 4)
    options["--distance"] = "inf" if chance.random() < 0.1 else f"{max(nearest, 1e-3) * (1 + beyond)!r} m"
    return options


def asked_of_page(options: dict[str, str]) -> list[Any]:
    """The same question for the page: numbers as the command reads them."""
    pupil = None
    if "--pupil-to-sensor" in options:
        place_m = parse_signed_length(options["--pupil-to-sensor"])
        pupil = {"toSensorM": place_m, "magnification": float(options["--pupil-magnification"])}
    optics = {
        "focalM": parse_focal_length(options["--focal"]).long_m,
        "pupil": pupil,
        "transmission": float(options["--transmission"]) if "--transmission" in options else None,
        "cocM": parse_length(options["--coc"]),
        "blurFloorM": parse_length(options["--blur-floor"]) if "--blur-floor" in options else 0.0,
    }
    distance_m = parse_distance(options["--distance"])
    f_number = float(options["--f-number"]) if "--f-number" in options else None
    return [optics, parse_stop(options["--stop"]).number, None if math.isinf(distance_m) else distance_m, f_number]


def command_answer(runner: CliRunner, options: dict[str, str]) -> dict[str, Any]:
    """What `tapehook depth --json` prints."""
    arguments = [word for pair in options.items() for word in pair]
    done = runner.invoke(main, ["depth", *arguments, "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    answer: dict[str, Any] = json.loads(done.output)
    return answer


def test_depth_agrees_with_the_command(demo: Prep, open_pocket: OpenPocket) -> None:
    """Over 1,000 random lenses and settings, page and command agree to 1e-9 in every figure, infinities included."""
    chance = random.Random(SEED)  # noqa: S311 - repeatable, not secret
    options = [random_options(chance) for _ in range(INPUTS)]
    runner = CliRunner()
    truth = [command_answer(runner, each) for each in options]
    found = open_pocket(demo).evaluate(ASK, [asked_of_page(each) for each in options])

    worst = 0.0
    for each, expected, answer in zip(options, truth, found, strict=True):
        for name, value in zip(FIGURES, answer, strict=True):
            known = expected[name]
            assert (known is None) == (value is None), (name, each, known, value)
            if known is not None and known != value:
                worst = max(worst, abs(value - known) / abs(known))
    print(f"\npage against command, {INPUTS} inputs: worst relative difference {worst:.1e}")  # noqa: T201

    assert worst <= 1e-9
    # The draw holds what is hard: far limits at infinity, no depth at all, depth nobody can trust, both kinds of pupil.
    assert sum(answer["far_m"] is None for answer in truth) > 100
    assert sum(answer["half_width_dpt"] == 0 for answer in truth) > 20
    assert sum(answer["uncertainty_percent"] is None for answer in truth) > 5
    assert 400 < sum(answer["pupil_known"] for answer in truth) < 600


def test_page_says_no_focus_nearer_than_life_size(demo: Prep, open_pocket: OpenPocket) -> None:
    """Nearer than a lens can focus at all there is no figure, rather than a wrong one."""
    optics = {"focalM": 0.05, "pupil": None, "transmission": None, "cocM": 25e-6, "blurFloorM": 0.0}
    near, far = open_pocket(demo).evaluate(ASK, [[optics, 2.0, 0.199, None]])[0][:2]
    assert (near, far) == (None, None)


def test_ring_position_agrees_with_the_map(demo: Prep, open_pocket: OpenPocket) -> None:
    """Between grid points the page's cubic stays within a twentieth of the band of the map itself, on every lens."""
    page = open_pocket(demo)
    worst = worst_band = 0.0
    for index, entry in enumerate(demo.lenses):
        lens_map = entry.focus_map
        if lens_map is None:
            continue
        far, near = lens_map.scale.place([lens_map.far_value, lens_map.near_value]).tolist()
        places = np.linspace(far, near, 7 * (GRID_POINTS - 1) + 1)
        distances = lens_map.scale.value(places)
        distances[0], distances[-1] = lens_map.far_value, lens_map.near_value
        asked = [None if math.isinf(d) else d for d in distances.tolist()]
        found = page.evaluate(
            """([index, asked]) => asked.map((d) => {
              const at = tapehook.ringPosition(tapehook.job.lenses[index].map, d ?? Infinity);
              return [at.position, at.plusMinus];
            })""",
            [index, asked],
        )
        position, band = lens_map.position_band(distances)
        worst = max(worst, float(np.max(np.abs(np.array(found)[:, 0] - position) / band)))
        worst_band = max(worst_band, float(np.max(np.abs(np.array(found)[:, 1] / band - 1))))
    print(f"\nbetween grid points: position off by {worst:.4f} of the band, the band by {worst_band:.4f} of itself")  # noqa: T201
    assert worst < 1 / 20
    assert worst_band < 1 / 20


def test_ring_position_follows_the_stop(demo: Prep, open_pocket: OpenPocket) -> None:
    """With a stop, of the lenses that are moved for it: the map at that stop, within a twentieth of its band; behind a
    2x, which sees the glass a quarter as thick, too."""
    page = open_pocket(demo)
    moved = [entry for entry in demo.lenses if moved_word(entry)]
    assert moved
    for entry in moved:
        index = demo.lenses.index(entry)
        for t, factor in ((entry.widest.t_number if entry.widest else 2.0, 1.0), (2.0, 1.0), (4.0, 1.0), (2.0, 2.0)):
            lens_map = map_at(entry, stop_view(t, entry.transmission), factor)
            assert lens_map is not None
            distances = lens_map.scale.value(np.linspace(0.051, 1.04, 23))
            found = np.array(
                page.evaluate(
                    """([index, distances, t, factor]) => distances.map((d) => {
                      const at = tapehook.ringPosition(tapehook.job.lenses[index].map, d, t, factor);
                      return [at.position, at.plusMinus];
                    })""",
                    [index, distances.tolist(), t, factor],
                )
            )
            position, band = lens_map.position_band(distances)
            assert np.all(np.abs(found[:, 0] - position) <= 0.05 * band), (entry.lens.id, t)
            assert np.all(found[:, 1] >= 0.95 * band), (entry.lens.id, t)
            assert factor > 1 or np.all(found[:, 1] <= 1.05 * band), (entry.lens.id, t)


def test_no_ring_position_outside_the_map(demo: Prep, open_pocket: OpenPocket) -> None:
    """Nearer than close focus the map ends, and so does the answer."""
    page = open_pocket(demo)
    near_m = page.evaluate("tapehook.job.lenses[0].map.nearM")
    assert page.evaluate("d => tapehook.ringPosition(tapehook.job.lenses[0].map, d)", near_m * 0.99) is None
    assert page.evaluate("d => tapehook.ringPosition(tapehook.job.lenses[0].map, d)", near_m) is not None


WRITTEN = (
    "5'6\"", "5'6", "5' 6 1/2\"", "5′6½″", "5ft 6in", "5.5ft", "5.5 feet", '66"', "168cm", "1.68 m", "1,68 m",
    "1m 68cm", "1680mm", "inf", "∞", "infinity", "INF", " 7' ", "7", "7.5", "7.50", "0", "-3 m", "5.11",
    "5 6", "5-6", "5/6", "5'14\"", "5'12\"", '61/2"', '1/3"', '1/5"', "5'1/2", "5'½\"", '6" 1/2', "1,680 m",
    "1.680 m", "1,234.5 mm", "1.234,5 mm", "12,345,678 mm", "1e2 cm", "1e999 m", "1e-999 m", "", " ", "m",
    "abc", "5'6'", "5''", "5' 6''", "five feet", "5'-6\"", "5', 6\"", "12 m 3", "2.3.4 m", "1 m 200cm",
    "1.5m 20cm", "5ft.", "6in.", "٣ m", "5 thou", "5 µm", "5 μm", "3 yards", "5'6\"7", "0'", "0 ft 6 in",
    '1 / 2 "', "١", "5’ 6”", "\u200b5'", "7'\u00a02\"", "100000000000000 km",
)  # fmt: skip
UNITS: tuple[PositionUnit, ...] = ("deg", "count", "percent", "mm")
SIGNS = "0123456789 .,'\"/-mcfti½⅓′″e+"


def mangled(chance: random.Random) -> str:
    """A distance somebody mistyped."""
    text = chance.choice(WRITTEN)
    for _ in range(chance.randint(0, 3)):
        at = chance.randint(0, len(text))
        text = text[:at] + chance.choice([chance.choice(SIGNS), ""]) + text[at + chance.randint(0, 1) :]
    return text


def python_distance(text: str, unit: str | None) -> float | str:
    """Metres, or the sentence that refuses."""
    try:
        return parse_distance(text, bare_unit="ft" if unit == "ft" else "m" if unit == "m" else None)
    except NotationError as error:
        return str(error)


def test_distances_are_read_as_the_notation_reads_them(demo: Prep, open_pocket: OpenPocket) -> None:
    """The page reads and refuses just what ``tapehook.notation`` does, in its words: listed, and 4,000 mangled."""
    chance = random.Random(SEED)  # noqa: S311 - repeatable, not secret
    units = (None, "ft", "m")
    asked = [(text, unit) for text in WRITTEN for unit in units]
    asked += [(mangled(chance), chance.choice(units)) for _ in range(4_000)]
    found = open_pocket(demo).evaluate(
        """asked => asked.map(([text, unit]) => {
          try {
            const metres = tapehook.parseDistance(text, unit);
            return metres === Infinity ? "inf" : metres;
          } catch (error) {
            if (error.constructor.name !== "NotationError") throw error;
            return error.message;
          }
        })""",
        [list(each) for each in asked],
    )
    expected = [python_distance(*each) for each in asked]
    differing = [
        (each, known, value)
        for each, known, value in zip(asked, expected, found, strict=True)
        if not (
            known == value
            or (known == math.inf and value == "inf")
            or (
                isinstance(known, float)
                and isinstance(value, int | float)
                and math.isclose(known, value, rel_tol=1e-14)
            )
        )
    ]
    assert differing == []
    assert 0.2 < sum(isinstance(known, str) for known in expected) / len(expected) < 0.9


def test_refusals_name_what_was_meant(demo: Prep, open_pocket: OpenPocket) -> None:
    """A refusal is one sentence: what was typed, what it could mean, what is expected."""
    page = open_pocket(demo)
    said = page.evaluate("t => { try { tapehook.parseDistance(t, 'ft') } catch (e) { return e.message } }", "5 6")
    assert (
        said
        == "“5 6” could mean 5'6\", 5.6 m or 5.6 ft; expected a distance with its unit, such as 1.68 m, 5'6\" or inf"
    )


def test_stops_are_read_as_the_notation_reads_them(demo: Prep, open_pocket: OpenPocket) -> None:
    """T-stops in every spelling give the notation's number; an f-number is refused, as T is what is set."""
    texts = ["T2", "t 2.8", "2,8", "T2.8 1/3", "2.8⅓", "2.8 2/3", "T4 1/2", "1.3", "22", "T5.6 3/10", "2.8 + 1/3"]
    wrong = [
        "f/2",
        "F2.8",
        "",
        "T",
        "two",
        "2.8/4",
        "2.8-4",
        "200",
        "0.3",
        "1.3 1/3",
        "2.8 1/7",
        "T41/3",
        "2.8 1/3 1/3",
    ]
    found = open_pocket(demo).evaluate(
        "texts => texts.map((t) => { try { return tapehook.parseTStop(t) } catch (e) { return e.message } })",
        texts + wrong,
    )
    for text, value in zip(texts, found[: len(texts)], strict=True):
        stop: Stop = parse_stop(text)
        assert value == pytest.approx(stop.number, rel=1e-15), text
    for text, value in zip(wrong, found[len(texts) :], strict=True):
        assert isinstance(value, str), text
        assert value.endswith("expected a T-stop between 0.5 and 128, such as T2.8 or T2.8 1/3")


def test_figures_are_written_in_house_style(demo: Prep, open_pocket: OpenPocket) -> None:
    """Distances and positions look as everywhere else in the handover, whatever their size."""
    chance = random.Random(SEED)  # noqa: S311 - repeatable, not secret
    # Halfway cases differ by one last digit between the two languages, and are not what is tested here.
    distances = [math.exp(chance.uniform(math.log(0.004), math.log(5_000))) for _ in range(3_000)]
    distances += [n * 0.3048 for n in range(1, 60)] + [n * 0.0254 for n in range(1, 80)] + [0.5, 1.0, 1.68, 10.0, 100.0]
    page = open_pocket(demo)
    for system in ("metric", "imperial"):
        found = page.evaluate(
            "([ds, system]) => ds.map((d) => tapehook.formatDistance(d, system))", [distances, system]
        )
        assert found == [format_distance(d, "metric" if system == "metric" else "imperial") for d in distances]
    pairs = [(d, d + min(d, chance.choice((0.01, 0.04, 0.06, 1.0)))) for d in distances]
    for system in ("metric", "imperial"):
        found = page.evaluate(
            "([ds, system]) => ds.map(([n, f]) => tapehook.formatLimits(n, f, system))", [pairs, system]
        )
        expected = [limit_texts(near, far, "metric" if system == "metric" else "imperial") for near, far in pairs]
        assert [tuple(each) for each in found] == expected
    asked = [
        (chance.uniform(-400, 60_000), unit, step)
        for unit in UNITS
        for step in (None, 0.1, 0.25, 1.0, 5.0, 0.01)
        for _ in range(40)
    ]
    found = page.evaluate("asked => asked.map(([p, unit, step]) => tapehook.formatPosition(p, unit, step))", asked)
    assert found == [format_position(p, unit, step=step) for p, unit, step in asked]


def slider_times_ms(page: "Page") -> list[float]:
    """Moves both sliders 400 times; milliseconds from the move to the laid-out picture."""
    times: list[float] = page.evaluate(
        """() => {
          const times = [];
          for (let i = 0; i < 400; i += 1) {
            const slider = document.getElementById(i % 4 ? "distance-slider" : "stop-slider");
            slider.value = i % 4 ? (i * 37) % 1001 : i % 20;
            const start = performance.now();
            slider.dispatchEvent(new Event("input"));
            document.getElementById("rule").getBBox();
            document.body.getBoundingClientRect();
            times.push(performance.now() - start);
          }
          return times;
        }"""
    )
    return times


def test_picture_follows_the_slider(demo: Prep, open_pocket: OpenPocket) -> None:
    """Each move of a slider has changed figures and picture when it returns; how long that takes is printed."""
    page = open_pocket(demo, "L01")
    times = sorted(slider_times_ms(page))
    print(f"\nslider to picture: median {times[200]:.2f} ms, p95 {times[380]:.2f} ms, worst {times[-1]:.2f} ms")  # noqa: T201
    followed = page.evaluate(
        """() => [100, 400, 700, 1000].map((value) => {
          const slider = document.getElementById("distance-slider");
          slider.value = value;
          slider.dispatchEvent(new Event("input"));
          const words = document.getElementById("depth-words").textContent;
          return [document.getElementById("distance").value, words, document.getElementById("rule").innerHTML];
        })"""
    )
    for column in range(3):
        assert len({moved[column] for moved in followed}) == 4
    assert followed[-1][0] == "∞"
