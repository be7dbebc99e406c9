"""What stands behind a lens, as it is written: the labels of filters parted by "+", or that nothing does."""

from collections.abc import Iterator, Mapping, Sequence

from tapehook.job.problems import Problem
from tapehook.job.records import Filter, Job, Record

NOTHING = "none"
"""Written where it is known that no glass stood behind the lens."""


def filters_behind(text: str | None, filters: Sequence[Filter]) -> tuple[tuple[Filter, ...], tuple[str, ...]]:
    """The filters that a text names, in order, and the labels in it that no filter has.

    A label with a "+" in it counts as a whole where it is the whole text. Nothing for None and for "none".
    """
    by_name = {one.id.casefold(): one for one in filters}
    whole = (text or "").strip()
    names = [whole] if whole.casefold() in by_name else [part.strip() for part in whole.split("+")]
    wanted = [name for name in names if name and name.casefold() != NOTHING]
    known = tuple(by_name[name.casefold()] for name in wanted if name.casefold() in by_name)
    return known, tuple(name for name in wanted if name.casefold() not in by_name)


def unknown_rear_filters(job: Job, files: Mapping[str, str]) -> Iterator[Problem]:
    """Rows and cameras that name a filter which ``job.toml`` does not list; ``files`` by name of the table."""
    expected = f"{NOTHING}, or filters of job.toml" + _listed(job.filters)
    rows: list[tuple[str, Sequence[Record]]] = [
        ("lenses", job.lenses),
        ("readings", job.readings),
        ("charts", job.charts),
    ]
    for table, records in rows:
        for record in records:
            text = getattr(record, "rear_filter", None)
            if text and filters_behind(text, job.filters)[1] and table in files:
                yield Problem(files[table], getattr(record, "row", None), "rear_filter", text, expected)
    for number, camera in enumerate(job.cameras, start=1):
        if filters_behind(camera.rear_filter, job.filters)[1]:
            yield Problem("job.toml", None, f"cameras[{number}].rear_filter", camera.rear_filter, expected)


def _listed(filters: Sequence[Filter]) -> str:
    return f": {', '.join(one.id for one in filters[:8])}" if filters else ", which lists none"
