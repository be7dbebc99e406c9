"""Which shots of a job are planned on which lens."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from tapehook.job.problems import JobProblems
from tapehook.job.shot_files import document_of, shot_bytes, shot_names


def shots_on(folder: Path, lens_id: str) -> tuple[str, ...]:
    """The names of the shots of a job folder whose file names the lens, for a pull or for a stop pull; sorted.

    A file that cannot be read is passed over: whoever plans it is told what is wrong with it.
    """
    files = {}
    for name in shot_names(folder):
        try:
            files[name] = shot_bytes(folder, name)[0]
        except JobProblems:
            continue
    return shots_naming(files, lens_id)


def shots_naming(files: Mapping[str, bytes], lens_id: str) -> tuple[str, ...]:
    """The same of the bytes of their files, by name."""
    return tuple(name for name in sorted(files) if lens_id in _lenses_of(files[name], name))


def _lenses_of(data: bytes, name: str) -> Iterator[str]:
    try:
        document = document_of(data, name)
    except JobProblems:
        return
    for part in (document, document.get("stop_pull")):
        if isinstance(part, dict) and isinstance(part.get("lens"), str):
            yield part["lens"]
