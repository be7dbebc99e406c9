"""The picture that arrives late: who pulls off a monitor sees where somebody was, not where they are."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Camera
from tapehook.job.shots import Shot
from tapehook.prep.wording import depth_used, percent

if TYPE_CHECKING:
    from tapehook.prep.shots import ShotPlan

TERM = "late picture"
"""What it is called among the terms of a shot."""
WATCH_FROM, FIX_FROM = 0.25, 1.0


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


def late_findings(plan: "ShotPlan") -> Iterator[Finding]:
    """What the late picture takes where it takes most; nothing without one."""
    from tapehook.prep.shot_chance import terms_of  # it knows of this term itself

    delay_s = monitor_delay_s([view.camera for view in plan.cameras], plan.shot)
    if delay_s <= 0:
        return
    worst, who, at_s, motor = 0.0, "", 0.0, 0.0
    for person, held in zip(plan.shot.people, plan.people, strict=True):
        known = terms_of(plan, person, held).known
        used = np.where(held.wanted, np.nan_to_num(np.abs(known[TERM]), nan=0.0), 0.0)
        frame = int(np.argmax(used))
        if used[frame] > worst or not who:
            worst, who, at_s = float(used[frame]), held.name, float(plan.time_s[frame])
            motor = float(np.nan_to_num(abs(known["lag"][frame]), nan=0.0))
    severity: Severity = "fix" if worst >= FIX_FROM else "watch" if worst >= WATCH_FROM else "info"
    yield Finding(
        "shot.late_picture",
        severity,
        f"shot {plan.shot.title}, lens {plan.entry.lens.id}",
        f"The picture reaches the monitor {1e3 * delay_s:.0f} ms late: pulled off it, focus runs up to "
        f"{percent(worst)} of the depth at {plan.stop.text} behind {who}, at {at_s:.1f} s; the motor's own lag adds "
        f"{percent(motor)}.",
        "Lead by as much, pull by eye and marks there, or take converters and radio out of the monitor's path."
        if severity != "info"
        else "Nothing to do; measure it again when the monitor's path changes.",
        depth_used(worst, plan.stop.text),
        lens_id=plan.entry.lens.id,
    )
