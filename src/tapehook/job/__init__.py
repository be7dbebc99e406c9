"""The records of a job, and reading and writing a job folder.

May live here: the records (pydantic, frozen), the readers and writers of their files, the problems found
in them, and the published schema. May not: any computation on what the records say; that is for ``prep``
and the pure packages below. Importing it loads pydantic and nothing heavier; what reads workbooks or writes
TOML is loaded when it is needed.
"""

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.reading import read_job
from tapehook.job.records import (
    Approach,
    Axis,
    Camera,
    ChartTest,
    Criterion,
    Emitter,
    Filter,
    Job,
    Lens,
    LightTest,
    Method,
    MorningCheck,
    Motor,
    PositionUnit,
    Radio,
    Reading,
    System,
    Weather,
    is_infinite,
)
from tapehook.job.schema import job_schema
from tapehook.job.writing import write_job

__all__ = [
    "Approach",
    "Axis",
    "Camera",
    "ChartTest",
    "Criterion",
    "Emitter",
    "Filter",
    "Job",
    "JobProblems",
    "Lens",
    "LightTest",
    "MorningCheck",
    "Method",
    "Motor",
    "PositionUnit",
    "Problem",
    "Radio",
    "Reading",
    "System",
    "Weather",
    "is_infinite",
    "job_schema",
    "read_job",
    "write_job",
]
