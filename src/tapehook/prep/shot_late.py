"""The picture that arrives late: who pulls off a monitor sees where somebody was, not where they are."""

from collections.abc import Iterator

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.prep.monitor_delay import TERM, monitor_delay_s
from tapehook.prep.shot_chance import terms_of
from tapehook.prep.shots import ShotPlan
from tapehook.prep.wording import depth_used, percent

WATCH_FROM, FIX_FROM = 0.25, 1.0


def late_findings(plan: ShotPlan) -> Iterator[Finding]:
    """What the late picture takes where it takes most; nothing without one."""
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
