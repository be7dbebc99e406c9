"""``exposure`` and ``flicker`` with anything typed: an answer in its documented shape, or a refusal in words."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cli.running import ROOT, run
from tests.cli.shapes import misfits, schema, strictly

DEMO = str(ROOT / "src" / "tapehook" / "demo_job")
NUMBERS = st.one_of(
    st.floats(0, 1e7).map(lambda x: f"{x:.6g}"),
    st.integers(-10, 10**6).map(str),
    st.sampled_from(["0", "-1", "1e-300", "1e300", "nan", "inf", "1/0", "½", "2 1/3", "0.000001"]),
)
UNITS = st.sampled_from(["", " fc", "fc", " lx", "deg", "°", " s", " ms", " stops", "x", " %", " mm", " fps", " Hz"])
BEFORE = st.sampled_from(["", "T", "f/", "ND", "ND ", "x", "1/", "EI "])
TEXTS = st.one_of(
    st.builds(lambda a, b, c: a + b + c, BEFORE, NUMBERS, UNITS),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
    st.sampled_from(["T2.8", "T4", "800", "24", "180deg", "1/50", "24fc", "50", "60", "0.3", "x4", "1000 lx"]),
)


def typed(options: dict[str, str]) -> list[str]:
    """Options as typed, so that a text that begins with a dash is still the option's."""
    return [f"--{name}={text}" for name, text in options.items() if "\0" not in text]


def answered_or_refused(command: str, options: dict[str, str]) -> None:
    """Exit code 0 with the documented shape, or 2 with problems; never anything else."""
    result = run(command, *typed(options), "--json")
    assert result.exit_code in {0, 2}, result.output
    shown = strictly(result.stdout)
    assert list(misfits(shown, schema(command if result.exit_code == 0 else "problems"))) == []
    assert json.dumps(shown, allow_nan=False)
    assert run(command, *typed(options)).exit_code == result.exit_code


@given(
    options=st.fixed_dictionaries(
        {},
        optional=dict.fromkeys(("stop", "ei", "fps", "shutter", "light", "nd", "filter", "meter"), TEXTS),
    )
)
def test_exposure_with_anything_typed(options: dict[str, str]) -> None:
    """Any texts for any of the options."""
    answered_or_refused("exposure", options)


@given(
    options=st.fixed_dictionaries(
        {"fps": TEXTS},
        optional=dict.fromkeys(("mains", "pulses", "shutter", "to-fps", "tolerance", "depth"), TEXTS),
    )
)
def test_flicker_with_anything_typed(options: dict[str, str]) -> None:
    """Any texts for any of the options."""
    answered_or_refused("flicker", options)


@given(
    fps=st.floats(0.01, 1e5),
    mains=st.floats(10, 1000),
    shutter=st.one_of(
        st.floats(0.1, 360).map(lambda a: f"{a:.4f}deg"), st.floats(1e-6, 100).map(lambda t: f"{t:.7f} s")
    ),
    to_fps=st.floats(0.01, 1e5),
    depth=st.floats(0.001, 1),
)
def test_flicker_with_any_figures(fps: float, mains: float, shutter: str, to_fps: float, depth: float) -> None:
    """Any figures within the limits of the options."""
    figures = {"fps": f"{fps:.5f}", "mains": f"{mains:.4f}", "to-fps": f"{to_fps:.5f}", "depth": f"{depth:.4f}"}
    answered_or_refused("flicker", figures | {"shutter": shutter})


@given(
    t=st.floats(0.5, 128),
    ei=st.floats(0.1, 1e7),
    fps=st.floats(0.01, 1e5),
    angle=st.floats(0.1, 360),
    lux=st.floats(1e-4, 1e7),
    left_out=st.sampled_from(["stop", "ei", "fps", "shutter", "light", "", ""]),
    nd=st.none() | st.floats(0, 6),
)
def test_exposure_with_any_figures(
    t: float, ei: float, fps: float, angle: float, lux: float, left_out: str, nd: float | None
) -> None:
    """Any figures within the limits of the options, any of them left out."""
    options = {
        "stop": f"T{t:.4f}",
        "ei": f"{ei:.3f}",
        "fps": f"{fps:.5f}",
        "shutter": f"{angle:.4f}deg",
        "light": f"{lux:.5f} lx",
    }
    options.pop(left_out, None)
    answered_or_refused("exposure", options if nd is None else options | {"nd": f"ND {nd:.4f}"})


@settings(max_examples=30)
@given(options=st.dictionaries(st.sampled_from(["stop", "light", "depth", "distance", "lens", "camera"]), TEXTS))
def test_a_job_and_any_text(options: dict[str, str]) -> None:
    """With the tray of the demo, any lens, camera, depth and distance."""
    asked = {"tray": DEMO, "lens": "L05", "ei": "800", "fps": "24", "shutter": "180deg", "light": "24fc"}
    answered_or_refused("exposure", asked | options)
