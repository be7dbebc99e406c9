"""``tapehook split``: the documented shape, the words, and refusals."""

import pytest

from tapehook.optics import focus_state, half_width_dpt, thin_pupil
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema

LENS = ("--focal", "50mm", "--stop", "T2", "--transmission", "0.81")


def test_the_shape_and_the_figures() -> None:
    """Two subjects at 2.051064 and 3.051064 m: 2.4 m from the lens, N 8.5106, T by the transmission, share by N."""
    shown = run_json("split", *LENS, "--at", "2.051064m", "--at", "3.051064m")
    assert list(misfits(shown, schema("split"))) == []
    assert shown["focus_m"] == pytest.approx(2.451064, abs=2e-6)
    assert shown["f_number_needed"] == pytest.approx(8.5106, abs=5e-4)
    assert shown["t_stop_needed"] == pytest.approx(8.5106 / 0.9, abs=5e-4)
    state = focus_state(shown["focus_m"], 0.05, thin_pupil(0.05))
    width = float(half_width_dpt(1.8, 0.05, 25e-6, state.pupil_factor))
    assert shown["depth_used"] == pytest.approx(shown["f_number_needed"] / 1.8, rel=1e-9)
    assert width * shown["depth_used"] == pytest.approx((1 / 2 - 1 / 3) / 2, rel=1e-6)
    assert shown["holds"] is False
    assert shown["uncertainty_percent"] > 0


def test_with_pupil_data_it_is_exact_and_says_when_it_holds() -> None:
    """No +- with pupil data and transmission; two subjects a hand apart are held."""
    pupil = (
        "--pupil-to-sensor",
        "41mm",
        "--pupil-magnification",
        "1.15",
        "--coc",
        "0.025mm",
        "--blur-floor",
        "0.001mm",
    )
    shown = run_json("split", *LENS, *pupil, "--at", "3m", "--at", "3.1m")
    assert (shown["uncertainty_percent"], shown["holds"]) == (0.0, True)
    assert "holds" in run("split", *LENS, *pupil, "--at", "3m", "--at", "3.1m").stdout


def test_feet_are_answered_in_feet() -> None:
    """Subjects typed in feet give the setting in feet, and --units overrides it."""
    assert "8'" in run("split", *LENS, "--at", "6'", "--at", "12'").stdout
    assert " m\n" in run("split", *LENS, "--at", "6'", "--at", "12'", "--units", "metric").stdout


@pytest.mark.parametrize(
    "at, words",
    [
        ((), ["--at", "two or more"]),
        (("2m",), ["--at", "two or more"]),
        (("2m", "2x", "y"), ["2x", "“y”"]),
        (("2m", "3cm"), ["--at", "nearest this lens can focus"]),
    ],
)
def test_bad_subjects_are_refused_all_at_once(at: tuple[str, ...], words: list[str]) -> None:
    """Every subject that cannot be read is named, once."""
    typed = [part for text in at for part in ("--at", text)]
    said = " ".join(refused("split", *LENS, *typed))
    assert all(word in said for word in words)


def test_other_mistakes_are_told_once() -> None:
    """A focal length that cannot be read is one problem, however many subjects there are."""
    said = " ".join(refused("split", "--focal", "fifty", "--stop", "T2", "--at", "2m", "--at", "3m"))
    assert said.count("fifty") == 1
