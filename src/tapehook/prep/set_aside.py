"""Figures of a job that are held and not used: each told with what is held and what is expected."""

from collections.abc import Iterator

from tapehook.finding import Finding
from tapehook.job.problems import shown
from tapehook.job.records import Job
from tapehook.job.set_aside import SetAside, set_aside

MEASURED = {"readings": "reading", "charts": "chart test", "tstops": "light test", "morning": "morning check"}
"""What a row of each table of measurements is called."""


def set_aside_findings(job: Job) -> Iterator[Finding]:
    """A finding for each figure beyond its limits that was kept before they were."""
    return map(_finding, set_aside(job))


def without_set_aside(job: Job) -> Job:
    """The job without measurements that lack a figure: a chart test without its stop would count as one wide open."""
    lacking = {id(one.record) for one in set_aside(job) if one.table in MEASURED}
    if not lacking:
        return job
    kept = {table: tuple(one for one in getattr(job, table) if id(one) not in lacking) for table in MEASURED}
    return job.model_copy(update=kept)


def place_of(one: SetAside) -> str:
    """What a figure set aside is of, in words: "lens L01", "chart test 3 of lens L01", "camera A"."""
    if one.table in MEASURED:
        return f"{MEASURED[one.table]} {one.number + 1} of lens {shown(one.lens_id or '')}"
    name = getattr(one.record, "letter", None) or getattr(one.record, "id", None)
    return f"{one.table.removesuffix('s') if name else one.table} {shown(str(name))}" if name else one.table


def _finding(one: SetAside) -> Finding:
    place = "lens " + shown(one.lens_id or "") if one.table == "lenses" else place_of(one)
    unused = f"the {MEASURED[one.table]}" if one.table in MEASURED else "it"
    message = (
        f"{place[0].upper()}{place[1:]}: {one.field} is held as {shown(one.held)}, kept by an earlier version; "
        f"expected {one.expected}, so {unused} is not used."
    )
    step = f"Put it right on the page Kit, or export the job, write {one.field} into {one.file} and import it again."
    camera = getattr(one.record, "letter", None) if one.table == "cameras" else None
    subject = f"lens {one.lens_id}" if one.lens_id else place
    return Finding("job.out_of_range", "fix", subject, message, step, lens_id=one.lens_id, camera=camera)
