"""Which shots of a job folder are planned on which lens."""

from collections.abc import Iterator
from pathlib import Path

from tapehook.job.problems import JobProblems
from tapehook.job.shot_files import document_of, shot_bytes, shot_names


def shots_on(folder: Path, lens_id: str) -> tuple[str, ...]:
    """The names of the shots whose file names the lens, for a pull or for a stop pull; sorted.

    A file that cannot be read is passed over: whoever plans it is told what is wrong with it.
    """
    return tuple(name for name in shot_names(folder) if lens_id in _lenses_of(folder, name))


def _lenses_of(folder: Path, name: str) -> Iterator[str]:
    try:
        document = document_of(*shot_bytes(folder, name))
    except JobProblems:
        return
    for part in (document, document.get("stop_pull")):
        if isinstance(part, dict) and isinstance(part.get("lens"), str):
            yield part["lens"]
