"""``tapehook flicker``: the documented shape, the trade's angles, ramps, and refusals."""

from typing import Any

import pytest

from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema


def flicker(*args: str) -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("flicker", *args)
    assert list(misfits(answer, schema("flicker"))) == []
    return answer


def test_24_frames_on_50_hz() -> None:
    """172.8 and 86.4 degrees, 1/50 and 1/100 s, as lighting tables have them; 180 degrees is over the tolerance."""
    answer = flicker("--fps", "24", "--mains", "50", "--shutter", "180deg")
    assert [one["angle_deg"] for one in answer["safe"]] == pytest.approx([345.6, 259.2, 172.8, 86.4])
    assert [one["time_text"] for one in answer["safe"]][2:] == ["1/50 s", "1/100 s"]
    assert answer["asked"]["ripple_stops"] == pytest.approx(0.115, abs=0.005)
    assert (answer["asked"]["safe"], answer["in_step"], answer["ramp"]) == (False, False, None)


def test_in_step_is_told() -> None:
    """24 frames on 60 Hz are alike at any shutter while both keep their frequency, and people read that."""
    shown = run("flicker", "--fps", "24", "--mains", "60", "--shutter", "180deg").stdout
    assert "not safe" in shown
    assert "steady at 24 fps all the same" in shown


def test_fast_pulses_even_out() -> None:
    """At 30,000 pulses a second all but the narrowest shutters pass, twelve at most are listed."""
    answer = flicker("--fps", "24", "--pulses", "30000")
    assert answer["any_shutter_from_deg"] < 10
    assert len(answer["safe"]) == 12
    assert "any shutter from" in run("flicker", "--fps", "24", "--pulses", "30000").stdout


def test_a_frame_shorter_than_a_pulse() -> None:
    """Nothing is safe at 120 frames on 50 Hz, and it is said."""
    assert flicker("--fps", "120", "--mains", "50")["safe"] == []
    assert "no shutter is safe" in run("flicker", "--fps", "120", "--mains", "50").stdout


def test_a_ramp_and_its_way_out() -> None:
    """At 180 degrees from 24 to 48 frames on 50 Hz unsafe ground is crossed; kept at 1/50 s none is."""
    ramp = flicker("--fps", "24", "--mains", "50", "--shutter", "180deg", "--to-fps", "48")["ramp"]
    assert ramp["unsafe"]
    assert ramp["stops_lost"] == pytest.approx(1.0)
    assert "kept at 1/50 s is safe" in ramp["text"]
    kept = flicker("--fps", "24", "--mains", "50", "--shutter", "1/50", "--to-fps", "48")["ramp"]
    assert (kept["unsafe"], kept["stops_lost"]) == ([], 0.0)
    fast = run("flicker", "--fps", "24", "--mains", "50", "--shutter", "90deg", "--to-fps", "150").stdout
    assert "no shutter is safe at 150 fps" in fast


@pytest.mark.parametrize(
    "args, words",
    [
        ((), ["--fps", "--mains", "not given"]),
        (("--fps", "24", "--mains", "50", "--pulses", "100"), ["not both with --pulses"]),
        (("--fps", "24", "--mains", "5000", "--shutter", "180", "--depth", "2"), ["--mains", "180 deg", "2 %"]),
        (("--fps", "24", "--mains", "50", "--to-fps", "48"), ["--shutter", "shutter of the ramp"]),
        (("--fps", "24", "--mains", "50", "--to-fps", "48", "--shutter", "1/40"), ["does not fit a frame at 48 fps"]),
    ],
)
def test_what_cannot_be_is_refused(args: tuple[str, ...], words: list[str]) -> None:
    """All that is wrong is said at once."""
    said = " ".join(refused("flicker", *args))
    assert all(word in said for word in words), said
