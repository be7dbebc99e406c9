"""Ids of records, and the one way in which content becomes bytes.

A record nobody else can have made has a UUID of version 7 (RFC 9562, section 5.7): the moment, then chance. A thing
that is known by its name has a UUID of version 8 (section 5.8) made from a hash of the name, so that two books that
never met give it the same id.
"""

import hashlib
import json
import math
import secrets
import threading
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

_COUNTER_BITS = 12


class _Clock:
    """Milliseconds and a counter within them, so that the ids of one process rise."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last = 0

    def tick(self) -> int:
        """The moment in milliseconds, shifted by the counter's bits; each larger than the one before."""
        with self._lock:
            now = time.time_ns() // 1_000_000 << _COUNTER_BITS
            self._last = max(now, self._last + 1)
            return self._last


_clock = _Clock()


def new_id() -> bytes:
    """A UUID of version 7, 16 bytes; within a process each is larger than the one before."""
    tick = _clock.tick()
    moment, counter = tick >> _COUNTER_BITS, tick & ((1 << _COUNTER_BITS) - 1)
    chance = secrets.randbits(62)
    return (moment << 80 | 7 << 76 | counter << 64 | 2 << 62 | chance).to_bytes(16, "big")


def named_id(kind: str, *names: str | bytes) -> bytes:
    """The id of what is known by its kind and names: a UUID of version 8 from their hash."""
    value = int.from_bytes(digest(kind, *names)[:16], "big")
    value = value & ~(0xF << 76) & ~(0x3 << 62) | 8 << 76 | 2 << 62
    return value.to_bytes(16, "big")


def digest(*parts: str | bytes) -> bytes:
    """SHA-256 of the parts, each with its length before it, so that no two lists of parts run together."""
    whole = hashlib.sha256()
    for part in parts:
        data = part.encode("utf-8", "surrogatepass") if isinstance(part, str) else part
        whole.update(len(data).to_bytes(8, "big"))
        whole.update(data)
    return whole.digest()


def canonical(content: Mapping[str, Any]) -> str:
    """Content as JSON text in one form only: keys sorted, ASCII, numbers in full, infinity as "inf"."""
    return json.dumps(_plain(content), sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def _plain(value: Any) -> Any:  # noqa: ANN401 - JSON
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def moment(when: datetime | None = None) -> str:
    """A moment as the book keeps it: UTC, to the microsecond, as text that sorts by time. Now, when none is given.

    Raises ValueError for a moment that does not say its time zone.
    """
    when = when or datetime.now(UTC)
    if when.tzinfo is None:
        raise ValueError("a moment must say its time zone")
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
