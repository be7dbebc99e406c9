"""How late the picture is that a pull is made by: as a shot says, or as it was measured on its camera."""

from collections.abc import Iterator, Sequence

from tapehook.job.records import Camera
from tapehook.job.shots import Shot

TERM = "late picture"
"""What it is called among the terms of a shot."""


def monitor_delay_s(cameras: Sequence[Camera], shot: Shot) -> float:
    """Seconds from the lens to the monitor: as the shot says, else the most measured on its camera; 0 if nobody did."""
    if shot.monitor_delay_ms is not None:
        return shot.monitor_delay_ms / 1e3
    own = [one.monitor_delay_ms for one in cameras if shot.camera in (None, one.letter)]
    return max((ms for ms in own if ms is not None), default=0.0) / 1e3


def said_of_delay(cameras: Sequence[Camera], shot: Shot) -> Iterator[str]:
    """What is taken for granted of it; nothing where nobody measured one."""
    delay_s = monitor_delay_s(cameras, shot)
    if delay_s > 0:
        yield (
            f"The pull is taken to be made off the monitor, whose picture is {1e3 * delay_s:.0f} ms late: that is "
            "added to the lag. Pulled by eye, write monitor_delay_ms = 0 into the file of the shot."
        )
