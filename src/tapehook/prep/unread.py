"""What stands in the files of a job and is not read, where it may have been meant to be."""

from collections.abc import Iterator

from tapehook.finding import Finding
from tapehook.job.headings import Unread, unread
from tapehook.job.problems import shown
from tapehook.job.records import Job


def unread_findings(job: Job) -> Iterator[Finding]:
    """A finding for each column or key that looks like one that is missing; notes of people's own are left in peace."""
    for one in unread(job):
        if one.meant is not None:
            yield _finding(one, one.meant)


def _finding(one: Unread, meant: str) -> Finding:
    what = "key" if one.place == "job.toml" else "column"
    table = one.place if one.place == "job.toml" else f"the table {one.place}"
    message = (
        f'The {what} "{shown(one.heading)}" of {table} is kept, but not read: no {what} has that name, '
        f"and {meant} is not there."
    )
    return Finding(
        "job.not_read",
        "watch",
        "job",
        message,
        f"Name it {meant} if that is what it holds; else leave it as it is.",
    )
