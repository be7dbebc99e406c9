"""The ends of a focus ring: how far it goes past infinity and close focus, and where a motor stops.

All positions are in the unit of the read-out; ``toward_near`` is +1 where they rise toward near, else -1. Amounts come
back positive where there is room to spare.
"""

from typing import Literal

End = Literal["near", "far"]


def past_mark(end_position: float, mark_position: float, toward_near: int, end: End) -> float:
    """How far the ring goes past a mark before it stops at ``end``: negative, the mark is never reached."""
    room = (end_position - mark_position) * toward_near
    return room if end == "near" else -room


def inside_stop(motor_position: float, stop_position: float, toward_near: int, end: End) -> float:
    """How far inside the hard stop the motor stops: negative, it drives the ring against the stop."""
    return past_mark(stop_position, motor_position, toward_near, end)


def right_way_round(near_position: float, far_position: float, toward_near: int) -> bool:
    """False when the near and the far end were written down the wrong way round for this ring."""
    return (near_position - far_position) * toward_near > 0
