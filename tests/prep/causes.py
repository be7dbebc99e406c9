"""What the tests of every check share: a finding comes with its cause, in sentences, and not without."""

from tapehook.finding import Finding
from tapehook.job import Job
from tapehook.prep import prepare


def found(job: Job, code: str) -> list[Finding]:
    """The findings of that code in a job."""
    return [finding for finding in prepare(job).findings if finding.code == code]


def assert_raised_with_cause_only(code: str, cause: Job, without: Job) -> list[Finding]:
    """The job with the cause has the finding, message and next step in sentences; the one without has not."""
    raised = found(cause, code)
    assert raised
    for finding in raised:
        assert finding.message.endswith(".")
        assert finding.next_step.endswith(".")
    assert not found(without, code)
    return raised
