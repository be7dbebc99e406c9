"""The main job: the demo job from its folder to its handover, part by part, and jobs of hundreds of lenses."""

import sys
import tempfile
from importlib.resources import as_file, files
from pathlib import Path

from speed.harness import Case, Contender, case
from speed.startup import COMMAND, running
from tapehook.handover.files import render_handover, write_handover
from tapehook.handover.pdf import render_pdf
from tapehook.handover.pocket import render_pocket
from tapehook.handover.tables import render_tables
from tapehook.job import read_job
from tapehook.job.records import Job
from tapehook.prep import prepare

IMPORTS = "import tapehook.cli.prep_command, tapehook.handover.files, tapehook.handover.pdf, typst"
FEW, MANY = 300, 5_000


def _demo_folder() -> Path:
    """The demo job, where the package has it."""
    with as_file(files("tapehook") / "demo_job") as folder:
        return folder


@case("`tapehook prep` of the demo job")
def demo_job() -> Case:
    """The whole command, and below it what it does, each part on its own in a process that is warm."""
    folder = _demo_folder()
    out = tempfile.TemporaryDirectory()
    target = Path(out.name)
    job = read_job(folder)
    prep = prepare(job)
    rendered = render_handover(prep)
    parts = {
        "read the job folder": lambda: read_job(folder),
        "prepare: maps, budgets, findings": lambda: prepare(job),
        "PDF": lambda: render_pdf(prep),
        "pocket page": lambda: render_pocket(prep),
        "tables": lambda: render_tables(prep),
        "write the files": lambda: write_handover(rendered, Path(out.name) / "parts"),
    }
    return Case(
        ours=Contender("tapehook prep, all of it", running(COMMAND, "prep", folder, "--out", target / "whole")),
        peers=(
            Contender("part: start Python, import what prep needs", running(sys.executable, "-c", IMPORTS)),
            *(Contender(f"part: {name}", run) for name, run in parts.items()),
        ),
        at_most_s=5.0,
        note=f"{len(job.lenses)} lenses, {len(job.cameras)} cameras, {len(job.readings)} readings; from starting the "
        "program to its end, with a PDF of a page a lens, the pocket page and the tables. The parts were timed each on "
        "its own in a process that had run them before, so they need not add up to the whole.",
    )


@case(f"Jobs of {FEW} and {MANY:,} lenses")
def large_jobs() -> Case:
    """How the work grows with the kit: the lenses of the demo job, over and over."""
    demo = read_job(_demo_folder())
    few, many = _copies(demo, FEW), _copies(demo, MANY)
    prep = prepare(few)
    return Case(
        ours=Contender(f"prepare {FEW} lenses", lambda: prepare(few)),
        peers=(
            Contender(f"prepare {MANY:,} lenses", lambda: prepare(many), rounds=1),
            Contender(f"PDF of {FEW} lenses", lambda: render_pdf(prep), rounds=1),
            Contender(f"pocket page of {FEW} lenses", lambda: render_pocket(prep), rounds=1),
        ),
        rounds=3,
        note="Copies of the lenses of the demo job, in a warm process. Lens after lens, as each has "
        "its own marks: the batches measured above are for lenses with equally many.",
    )


def _copies(job: Job, lenses: int) -> Job:
    """A job of so many lenses: those of ``job`` again and again, each copy with ids of its own."""
    turns = range(-(-lenses // len(job.lenses)))
    copied = [lens.model_copy(update={"id": f"{lens.id}-{i}"}) for i in turns for lens in job.lenses][:lenses]
    ids = {lens.id for lens in copied}
    readings = [
        reading.model_copy(update={"lens_id": f"{reading.lens_id}-{i}"}) for i in turns for reading in job.readings
    ]
    kept = tuple(reading for reading in readings if reading.lens_id in ids)
    return job.model_copy(update={"lenses": tuple(copied), "readings": kept, "charts": ()})
