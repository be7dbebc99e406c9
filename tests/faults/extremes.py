"""Job folders that can be read, with every number at the limits of what the records take, or in the middle of them.

They are made from a seed, so that a failing case can be made again: ``extreme_folder(seed)``.
"""

import math
from collections.abc import Callable
from random import Random

UNITS = ("", "deg", "count", "percent", "mm")
WAYS = ([""], ["near_to_far"], ["near_to_far", "far_to_near"])
SPANS = ((0.0, 300.0), (-1e9, 1e9), (0.0, 0.0), (0.0, 1e-6), (1e8, 1e9))
RANGES = ((1e-3, 1e6), (0.3, 30.0), (1.0, 1.0001))
CRITERIA = (
    ("fixed", ("coc_mm",)),
    ("diagonal", ("divisor",)),
    ("photosites", ("photosites",)),
    ("viewing", ("picture_heights", "arcminutes")),
)
MOST = {"arcminutes": 600.0, "coc_mm": 1.0}
"""Of numbers that may not be as large as all others."""


def seeded(seed: int) -> Random:
    """Chance that is the same whenever it is asked for."""
    return Random(seed)  # noqa: S311 - nothing here is secret


def extreme_folder(seed: int) -> dict[str, str]:
    """The text of each file of a job with one or two lenses and one camera."""
    random = seeded(seed)
    header = (
        "id,kind,focal_mm,t_stop,transmission,rises_toward,engraved_in,unit,reading_step,close_focus_m,"
        "units_per_turn,pupil_to_sensor_mm,pupil_magnification,blur_floor_mm"
    )
    lenses = [header]
    readings = ["lens_id,axis,distance_m,value,position,approach,method"]
    for lens_id in ("X1", "X2")[: random.randint(1, 2)]:
        lenses.append(_lens(random, lens_id))
        for axis in ("focus", "focus", "iris", "zoom")[: random.randint(1, 4)]:
            readings += _ring(random, lens_id, axis)
    files = {"lenses.csv": "\n".join(lenses) + "\n", "readings.csv": "\n".join(readings) + "\n"}
    return {**files, "job.toml": _job(random)} if random.random() < 0.7 else files


def _number(random: Random, least: float, most: float) -> str:
    """A number from ``least`` to ``most``, both ends often, the rest even in its logarithm."""
    kind = random.random()
    if kind < 0.2:
        return repr(least if kind < 0.1 else most)
    return repr(math.exp(random.uniform(math.log(least), math.log(most))))


def _maybe(random: Random, make: Callable[[], str], likely: float = 0.5) -> str:
    return make() if random.random() < likely else ""


def _lens(random: Random, lens_id: str) -> str:
    ordinary = random.random() < 0.5

    def positive() -> str:
        return _number(random, 1e-6, 1e9)

    def focal() -> str:
        return _number(random, 8, 300) if ordinary else _number(random, 1, 1e4)

    def stop() -> str:
        return _number(random, 0.7, 22) if ordinary else _number(random, 0.5, 128)

    cells = [
        lens_id,
        random.choice(["", "prime", "zoom"]),
        _maybe(random, focal, 0.8),
        _maybe(random, stop, 0.8),
        _maybe(random, lambda: _number(random, 1e-9, 1)),
        random.choice(["", "near", "far"]),
        random.choice(["", "feet", "metric"]),
        random.choice(UNITS),
        _maybe(random, positive),
        _maybe(random, lambda: _number(random, 1e-3, 1e6)),
        _maybe(random, positive),
        _maybe(random, lambda: random.choice(["-", ""]) + positive(), 0.3),
        _maybe(random, positive, 0.3),
        _maybe(random, lambda: _number(random, 1e-6, 1), 0.2),
    ]
    return ",".join(cells)


def _ring(random: Random, lens_id: str, axis: str) -> list[str]:
    """Up to a dozen marks of a ring; most on a smooth curve, some anywhere."""
    values = sorted(float(_number(random, *random.choice(RANGES))) for _ in range(random.randint(0, 12)))
    if axis == "focus" and values and random.random() < 0.6:
        values[-1] = math.inf
    start, end = random.choice(SPANS)
    rows = []
    for value in values:
        position = start + (end - start) / (1 + value)
        if random.random() < 0.2:
            position = random.choice([start, end, random.uniform(start, end)])
        cells = (f"{value},", "") if axis == "focus" else (",", f"{value}")
        for way in random.choice(WAYS):
            method = random.choice(["", "taped", "engraved"])
            rows.append(f"{lens_id},{axis},{''.join(cells)},{position!r},{way},{method}")
    return rows


def _job(random: Random) -> str:
    name, keys = random.choice(CRITERIA)
    lines = [f'shooting_stop = "T{random.choice([0.5, 1.3, 2, 2.8, 22, 128])}"']
    lines += [f'units = "{random.choice(["metric", "imperial"])}"', "[criterion]", f'name = "{name}"']
    lines += [f"{key} = {_number(random, 1e-6, MOST.get(key, 1e9))}" for key in keys]
    lines += ["[[cameras]]", 'letter = "A"']
    for key, least, most in (("sensor_width_mm", 1, 1e3), ("sensor_height_mm", 1, 1e3), ("photosite_um", 1e-6, 1e9)):
        lines += [f"{key} = {_number(random, least, most)}"] if random.random() < 0.7 else []
    return "\n".join(lines) + "\n"


def extreme_charts(seed: int) -> str:
    """The text of charts.csv for the lenses of ``extreme_folder``: tests near, far, at limits, on bodies or on none."""
    random = seeded(seed + 10**6)
    rows = ["lens_id,chart_distance_m,position,approach,t_stop,camera,focal_mm,chart_width_m,frame_fill"]
    start, end = random.choice(SPANS)
    for _ in range(random.randint(1, 9)):
        distance = float(_number(random, *random.choice(RANGES)))
        position = start + (end - start) / (1 + distance) if random.random() < 0.8 else random.choice([start, end])
        cells = [
            "X1",
            repr(distance),
            _maybe(random, lambda at=position: repr(at), 0.9),  # type: ignore[misc]
            random.choice(["", "near_to_far", "far_to_near"]),
            _maybe(random, lambda: _number(random, 0.5, 128)),
            random.choice(["", "A", "A", "B"]),
            _maybe(random, lambda: _number(random, 1, 1e4), 0.3),
            _maybe(random, lambda: _number(random, 1e-6, 1e9), 0.2),
            _maybe(random, lambda: _number(random, 1e-9, 1), 0.2),
        ]
        rows.append(",".join(cells))
    return "\n".join(rows) + "\n"


def extreme_shot(seed: int) -> str:
    """The text of a shot with numbers at their limits, for the first lens of ``extreme_folder``."""
    random = seeded(seed + 2 * 10**6)
    lines = ['lens = "X1"']
    if random.random() < 0.5:
        lines.append(f'stop = "T{random.choice([0.5, 1.3, 2.8, 22, 128])}"')
    for key, least, most in (("speed_deg_s", 1e-6, 1e9), ("acceleration_deg_s2", 1e-6, 1e9), ("within", 1e-9, 1)):
        lines += [f"{key} = {_number(random, least, most)}"] if random.random() < 0.4 else []
    lines += [f"lag_ms = {random.choice([0, 20, 2000])}"] if random.random() < 0.6 else []
    for name in ("Ada", "Ivo")[: random.randint(1, 2)]:
        lines += ["[[people]]", f'name = "{name}"']
        for at in range(random.randint(1, 4)):
            place = [random.choice([0.0, -1e4, 1e4, random.uniform(-5, 5)]) for _ in range(3)]
            lines += ["[[people.path]]", f"at_s = {at * random.uniform(0.2, 1.0) + at}", f"place_m = {place}"]
    if random.random() < 0.5:
        lines += ["[[hold]]", "from_s = 0", f"to_s = {random.uniform(0.1, 3)}", 'who = ["Ada"]']
    return "\n".join(lines) + "\n"
