"""Replacing several files of one folder at once, as nearly as a file system can."""

import os
import secrets
import stat
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path


def replace_all(folder: Path, files: Mapping[str, bytes]) -> None:
    """Give files in ``folder``, by name, new contents: all of them or none. The folder is made if need be.

    The new contents are on the disk before the first file changes; each file is then replaced as a whole,
    and those replaced are put back when a later one cannot be. A machine that stops between two replacements
    leaves the first new and the second old, each complete. Raises OSError.
    """
    new_folder = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    try:
        _replace_staged({folder / name: data for name, data in files.items()})
    except BaseException:
        if new_folder:
            with suppress(OSError):
                folder.rmdir()
        raise
    _sync(folder)


def _replace_staged(files: Mapping[Path, bytes]) -> None:
    """Write all new contents beside their files, then put each in its place."""
    parts = {path: path.with_name(f".{path.name}.{secrets.token_hex(6)}.part") for path in files}
    done: dict[Path, bytes | None] = {}
    try:
        for path, part in parts.items():
            _write(part, files[path], like=path)
        for path, part in parts.items():
            old = path.read_bytes() if path.exists() else None
            part.replace(path)
            done[path] = old
    except BaseException:  # an interrupt from the keyboard too: it must not leave half a job
        for path, old in done.items():
            _put_back(path, old)
        raise
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)


def _write(part: Path, data: bytes, like: Path) -> None:
    """Write a new file and wait until it is on the disk; it may be used by whom ``like`` could be used by."""
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(descriptor)
    if like.exists():
        part.chmod(stat.S_IMODE(like.stat().st_mode))


def _put_back(path: Path, old: bytes | None) -> None:
    """Undo one replacement; ``old`` is None where there was no file."""
    if old is None:
        path.unlink(missing_ok=True)
    else:
        _replace_staged({path: old})


def _sync(folder: Path) -> None:
    """Wait until the names in a folder are on the disk; not all systems can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
