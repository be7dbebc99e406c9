"""What a stop pull meets with, as findings: each limit with what to do about it, motors in conflict, what to mind."""

from tapehook.finding import Figure, Finding, Severity, sort_findings
from tapehook.notation import format_stop
from tapehook.prep.stop_pull import StopPullPrep, advice, limit_text
from tapehook.shot.stop_pull import PullError, PullLimit

_LESS_ERROR = {
    "iris backlash": ("Read a few stops of the iris both ways", "its play is then taken up"),
    "filter backlash": (
        "Measure the play between extra motor and filter, and say from which side they were set",
        "it is then taken up",
    ),
    "lag between motors": ("Measure the lag of both motors and write it into job.toml", "or pull more slowly"),
    "iris map": ("Read more stops of the iris", "the map is then surer"),
    "filter table": ("Measure the filter at eight to twelve angles from end to end", "as a table in job.toml"),
}


def stop_pull_findings(prep: StopPullPrep) -> list[Finding]:
    """All findings of a stop pull, worst first."""
    found = [limit_finding(limit, prep) for limit in prep.pull.limits]
    found += [_conflict(sentence, prep) for sentence in prep.conflicts]
    found += [_caution(sentence, prep) for sentence in prep.cautions]
    return sort_findings(found)


def limit_finding(limit: PullLimit, prep: StopPullPrep) -> Finding:
    """One limit of a pull: fix where it forbids the pull, watch where it is only passed, info where it holds."""
    severity: Severity = "info" if limit.holds else "fix" if limit.hard else "watch"
    stops = " to ".join(format_stop(float(prep.pull.t_stops[at])) for at in (0, -1))
    figure = Figure(limit.asks, limit.unit, None, stops)
    step = "Nothing to do: it holds." if limit.holds else _step(limit, prep)
    code = f"stop_pull.{limit.kind}"
    return Finding(code, severity, _subject(prep), limit_text(limit, prep), step, figure, prep.lens.id)


def largest_error(prep: StopPullPrep) -> PullError:
    """The source that makes most of the exposure error."""
    return max(prep.pull.errors, key=lambda error: float(error.stops.max()))


def _step(limit: PullLimit, prep: StopPullPrep) -> str:
    if limit.kind == "error":
        worst = largest_error(prep)
        what, why = _LESS_ERROR[worst.name]
        most = f"most of it is the {worst.name}, {worst.stops.max():.2f} stop"
        return f"{what}{': ' if why else ''}{why}; {most}."
    step = " ".join(advice(prep))
    if limit.kind == "iris_range":
        return f"Read the iris of {prep.lens.id} where the pull goes. {step}"
    return step


def _subject(prep: StopPullPrep) -> str:
    return f"stop pull {prep.name}"


def _conflict(sentence: str, prep: StopPullPrep) -> Finding:
    step = "Put the motor on, or right in job.toml, and calibrate it before the pull; hands off while motors move."
    return Finding("stop_pull.motors", "fix", _subject(prep), sentence, step, None, prep.lens.id)


def _caution(sentence: str, prep: StopPullPrep) -> Finding:
    step = "Look at it on the day, at both ends of the pull, on skin."
    return Finding("stop_pull.caution", "info", _subject(prep), sentence, step, None, prep.lens.id)
