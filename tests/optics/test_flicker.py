"""Flicker: whole pulses are safe whatever the moment, and what is between is as bad as counting the light says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.optics.flicker import (
    any_shutter_from_s,
    in_step,
    mains_pulses_hz,
    ripple_stops,
    safe_shutters,
    synchronous_rates_fps,
    unsafe_in_ramp,
    whole_pulse_rates_fps,
)

RATES = st.floats(5, 90)


def counted_ripple(time_s: float, pulse_hz: float, modulation: float) -> float:
    """Stops between the brightest and darkest frame, adding up the light of frames that begin anywhere in a pulse."""
    begins = np.linspace(0.0, 1.0 / pulse_hz, 181)[:, None]
    inside = (np.arange(4000) + 0.5) / 4000 * time_s
    light = (1.0 + modulation * np.cos(2 * np.pi * pulse_hz * (begins + inside))).mean(axis=1)
    return float(np.log2(light.max() / light.min()))


@given(cycles=st.floats(0.6, 6), modulation=st.floats(0.05, 0.9))
def test_the_ripple_is_what_counting_the_light_gives(cycles: float, modulation: float) -> None:
    """The formula against frames that begin at 181 moments of a pulse, light added up in 4,000 pieces."""
    time = cycles / 100.0
    assert float(ripple_stops(time, 100.0, modulation)) == pytest.approx(
        counted_ripple(time, 100.0, modulation), abs=2e-3
    )


@given(fps=RATES, mains=st.sampled_from([50.0, 60.0]))
def test_safe_shutters_hold_whole_pulses(fps: float, mains: float) -> None:
    """Each gathers a whole number of pulses, fits the frame, and at its limits has the tolerance or less."""
    pulses = mains_pulses_hz(mains)
    found = safe_shutters(fps, pulses, 0.05)
    assert [one.pulses for one in found] == list(range(int(pulses / fps * (1 + 1e-12)), 0, -1))
    for one in found:
        assert float(ripple_stops(one.time_s, pulses)) == pytest.approx(0.0, abs=1e-9)
        assert one.from_deg < one.angle_deg <= one.to_deg + 1e-9 <= 360.0 + 2e-9
        edges = np.array([one.from_deg, one.to_deg]) / (360.0 * fps)
        assert np.all(ripple_stops(edges, pulses) <= 0.05 + 1e-6)


def test_at_24_and_25_frames() -> None:
    """On 50 Hz: 172.8 and 86.4 degrees at 24 frames, 180 at 25; on 60 Hz 144 at 24 (lighting tables)."""
    assert [one.angle_deg for one in safe_shutters(24.0, 100.0)][-2:] == pytest.approx([172.8, 86.4])
    assert 180.0 in [pytest.approx(one.angle_deg) for one in safe_shutters(25.0, 100.0)]
    assert 144.0 in [pytest.approx(one.angle_deg) for one in safe_shutters(24.0, 120.0)]


def test_a_frame_shorter_than_a_pulse_has_no_safe_shutter() -> None:
    """At 120 frames on 50 Hz no frame holds a pulse."""
    assert safe_shutters(120.0, 100.0) == []


def test_frame_rates() -> None:
    """In step with 100 pulses: 50, 33 1/3, 25, 20; with 180 degrees whole pulses at 50, 25, 16.7."""
    assert synchronous_rates_fps(100.0, 20.0, 60.0) == pytest.approx([50.0, 100 / 3, 25.0, 20.0])
    assert whole_pulse_rates_fps(180.0, 100.0, 15.0, 60.0) == pytest.approx([50.0, 25.0, 50 / 3])


def test_a_ramp_is_safe_only_about_whole_pulses() -> None:
    """25 to 50 frames at 180 degrees on 50 Hz: safe at both ends, up to half a pulse off between."""
    (stretch,) = unsafe_in_ramp(25.0, 50.0, 100.0, angle_deg=180.0)
    assert 25.0 < stretch.from_fps < 26.0
    assert 48.0 < stretch.to_fps < 50.0
    times = 0.5 / np.linspace(25.0, 50.0, 500)
    assert stretch.worst_stops == pytest.approx(float(ripple_stops(times, 100.0).max()), rel=1e-3)
    assert unsafe_in_ramp(50.0, 25.0, 100.0, angle_deg=180.0) == [stretch]


def test_a_ramp_with_the_time_kept_is_safe_or_not_as_a_whole() -> None:
    """1/50 s on 50 Hz holds through any ramp; 1/48 s through none, at a tenth of a stop."""
    assert unsafe_in_ramp(12.0, 48.0, 100.0, time_s=1 / 50) == []
    (stretch,) = unsafe_in_ramp(12.0, 48.0, 100.0, time_s=1 / 48)
    assert (stretch.from_fps, stretch.to_fps) == (12.0, 48.0)
    with pytest.raises(ValueError, match="either"):
        unsafe_in_ramp(12.0, 48.0, 100.0)


@given(pulses=st.floats(50, 20_000), tolerance=st.floats(0.01, 0.3), more=st.floats(1.0, 20.0))
def test_enough_pulses_even_out(pulses: float, tolerance: float, more: float) -> None:
    """From the time told on, no shutter is over the tolerance."""
    time = any_shutter_from_s(pulses, tolerance) * more
    assert float(ripple_stops(time, pulses)) <= tolerance * (1 + 1e-9)


def test_in_step() -> None:
    """24 frames on 60 Hz, 25 on 50 Hz; not 24 on 50 Hz, nor faster than the pulses."""
    assert in_step(24.0, 120.0)
    assert in_step(25.0, 100.0)
    assert not in_step(24.0, 100.0)
    assert not in_step(240.0, 100.0)
