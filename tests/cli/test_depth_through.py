"""``tapehook depth`` with an extender and behind a port."""

from typing import Any

import pytest

from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema

LENS = ("--focal", "50mm", "--f-number", "2", "--pupil-to-sensor", "41mm", "--pupil-magnification", "1.15")


def depth(*args: str) -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("depth", *LENS, *args)
    assert list(misfits(answer, schema("depth"))) == []
    return answer


def test_an_extender_halves_the_depth_at_the_same_ring() -> None:
    """2x, 30 mm long, somebody at 2.03 m: the scale says 2 m, half the half-width, 100 mm at f/4."""
    bare, extended = (
        depth("--distance", "2m"),
        depth("--distance", "2.03m", "--extender", "2x", "--extender-length", "30"),
    )
    assert extended["half_width_dpt"] == pytest.approx(bare["half_width_dpt"] / 2.0, rel=1e-9)
    assert extended["scale_m"] == pytest.approx(2.0)
    assert extended["extender"] == {"factor": 2.0, "focal_mm": pytest.approx(100.0), "stop": "f/4", "stops_lost": 2.0}
    assert extended["magnification"] == pytest.approx(2.0 * bare["magnification"])
    assert (bare["extender"], bare["port"], bare["scale_m"]) == (None, None, 2.0)


def test_a_blur_floor_grows_with_the_image() -> None:
    """10 micrometres left by the bare lens are 20 on the sensor, of 25 that pass: sqrt(12.5^2 - 10^2) are left."""
    args = ("--distance", "2m", "--coc", "0.025mm", "--extender", "2x")
    ratio = depth(*args, "--blur-floor", "0.01mm")["half_width_dpt"] / depth(*args)["half_width_dpt"]
    assert ratio == pytest.approx(7.5 / 12.5)


def test_behind_a_flat_port() -> None:
    """4 m from the port in fresh water look 4/1.333 m, and as much of the field is lost."""
    answer = depth("--distance", "4.2m", "--port", "flat", "--port-front", "200mm", "--water", "fresh")
    assert answer["port"]["seen_m"] == pytest.approx(0.2 + 4.0 / 1.333)
    assert (answer["port"]["infinity_seen_m"], answer["port"]["field_narrower"]) == (None, 1.333)
    assert answer["near_m"] < 4.2 < answer["far_m"]


def test_behind_a_dome() -> None:
    """Infinity at R/(n - 1) before the dome; the hyperfocal distance makes it just sharp, as its own figures say."""
    dome = ("--port", "100mm", "--port-front", "200mm", "--water", "fresh")
    answer = depth("--distance", "inf", *dome)
    assert answer["port"]["infinity_seen_m"] == pytest.approx(0.2 + 0.1 / 0.333)
    assert answer["far_m"] is None
    beyond, within = (depth("--distance", f"{answer['hyperfocal_m'] * part} m", *dome) for part in (1.01, 0.99))
    assert beyond["far_m"] is None
    assert within["far_m"] is not None


def test_people_are_told() -> None:
    """A line for each, and what the ring must say; what was assumed stands below."""
    shown = run(
        "depth", *LENS, "--distance", "2m", "--extender", "1.4x", "--port", "flat", "--port-front", "20cm"
    ).stdout
    assert "extender    1.4x: 70 mm at f/2.8, the marks stay" in shown
    assert "port        flat: seen at 1.55 m" in shown
    assert "on the ring 1.55 m" in shown
    assert "Length of the extender not given" in shown


@pytest.mark.parametrize(
    "args, said",
    [
        (("--extender", "9x"), "--extender: “9x” is out of range"),
        (("--extender-length", "30mm"), "--extender: not given, but --extender-length is"),
        (("--port", "flat"), "--port-front: not given"),
        (("--port", "round", "--port-front", "20cm"), "--port: “round” cannot be read; expected flat"),
        (("--water", "sea"), "--port: not given, but --water is"),
        (("--port", "5cm", "--port-front", "20cm", "--port-glass", "6cm"), '--port-glass: read "6cm"'),
        (("--port", "flat", "--port-front", "3m"), '--distance: read "2m"'),
        (("--port", "2cm", "--port-front", "60mm"), '--distance: read "2m"'),
        (("--port", "flat", "--port-front", "40mm"), '--port-front: read "40mm", expected more than 41 mm'),
        (
            ("--port", "flat", "--port-front", "60mm", "--extender", "2x", "--extender-length", "30mm"),
            '--port-front: read "60mm", expected more than 71 mm',
        ),
        (("--port", "flat", "--port-front", "10mm"), "--port-front: “10mm” is out of range"),
        (("--port", "flat", "--port-front", "20cm", "--water", "tea"), "--water: “tea” cannot be read"),
    ],
)
def test_refusals(args: tuple[str, ...], said: str) -> None:
    """What does not go together, and a dome that shows everything nearer than the lens can focus."""
    problems = refused("depth", *LENS, "--distance", "2m", *args)
    assert any(problem.strip().startswith(said) for problem in problems), problems
