"""What the pages write: each act is one transaction of the book, and says what it touched."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import as_file, files
from typing import Any

from tapehook.book.folders import read_folder
from tapehook.book.importing import Folder, carry_out, plan_import
from tapehook.book.jobs import (
    BuildMotor,
    CameraBuild,
    JobDocument,
    build_id,
    copy_builds,
    document_id,
    job_id_of,
    put_on_camera,
    save_build,
    sign_off,
    sign_off_id,
)
from tapehook.book.lenses import lenses_of, mark_lens, read_serial
from tapehook.book.matching import Answers
from tapehook.book.measuring import Measured, Measurement, correct, corrections_of_job, of_job, of_lenses
from tapehook.book.search import index_lenses
from tapehook.book.shelves import camera_shelf, new_shelf, put_on_shelf, set_camera_shelf, shelves, where_shelved
from tapehook.book.trouble import BookRefusal, refusal
from tapehook.book.versions import thing
from tapehook.book.working import measure, save_job
from tapehook.job import Camera, Job, Lens, Motor
from tapehook.job.problems import Problem
from tapehook.job.tomlfile import read_job_toml, write_job_toml
from tapehook.pages.desk import Desk, JobNow, NotThere
from tapehook.pages.undoing import UNDONE, LastAct, last_act

MOST_REMEMBERED = 10_000
BUILD = "as built"
"""The build that the Kit page keeps of each camera."""


@dataclass
class Acts:
    """The acts on one book. A reading that is sent twice, as after a cut of the network, is written once."""

    desk: Desk
    _sent: dict[str, list[str]] = field(default_factory=dict)

    # --- jobs ---

    def new_job(self, who: str, name: str, units: str, shooting_stop: str | None) -> str:
        """A job without lenses; its key."""
        given: dict[str, object] = {"title": name, "units": units}
        if shooting_stop:
            given["shooting_stop"] = shooting_stop
        job = checked(Job.model_validate(given))
        key = job_id_of(name).hex()
        with self.desk.writing(who, key, "book") as writing:
            if thing(writing.connection, document_id(bytes.fromhex(key))) is not None:
                raise refusal(f"job {name}", "there is a job of this name already", "another name")
            save_job(writing, name, job)
        return key

    def demo(self, who: str) -> str:
        """The demo job, taken into the book; its key."""
        with as_file(files("tapehook") / "demo_job") as folder:
            read = read_folder(folder)
        read = Folder(read.job, read.toml, read.marker, "the demo job", read.files)
        with self.desk.writing(who, "book") as writing:
            plan = plan_import(writing.connection, read, Answers())
            carry_out(writing, plan, read)
        key = job_id_of(read.job.title).hex()
        self.desk.touch(key)
        return key

    def change_job(self, who: str, now: JobNow, changed: Job) -> None:
        """Keep what was edited of a job, lenses and readings apart. Raises StaleEdit."""
        with self.desk.writing(who, now.key, "book") as writing:
            save_job(writing, now.name, changed, seen=now.thing.seen)

    def keep_shots(self, who: str, now: JobNow, texts: Mapping[str, str]) -> None:
        """Keep the texts of a job's shots by name. Raises StaleEdit."""
        files = {f"shots/{name}.toml": text for name, text in texts.items()}
        with self.desk.writing(who, now.key, "book") as writing:
            save_job(writing, now.name, now.job, seen=now.thing.seen, files=files)

    def add_lens(self, who: str, now: JobNow, lens: Lens) -> None:
        """Add a lens to the kit of a job. Raises BookRefusal where its id is taken."""
        if any(there.id == lens.id for there in now.job.lenses):
            raise refusal(f"job {now.name}", f"there is a lens {lens.id} in it already", "another id")
        self.change_job(who, now, now.job.model_copy(update={"lenses": (*now.job.lenses, lens)}))

    def change_lens(self, who: str, now: JobNow, lens: Lens) -> None:
        """Keep what was edited of a lens of a job, under the id it has."""
        lenses = tuple(lens if there.id == lens.id else there for there in now.job.lenses)
        self.change_job(who, now, now.job.model_copy(update={"lenses": lenses}))

    def add_camera(self, who: str, now: JobNow, camera: Camera) -> None:
        """Add a camera to a job, or change the one of that letter."""
        others = tuple(one for one in now.job.cameras if one.letter != camera.letter)
        cameras = tuple(sorted((*others, camera), key=lambda one: one.letter))
        self.change_job(who, now, now.job.model_copy(update={"cameras": cameras}))

    def add_motor(self, who: str, now: JobNow, motor: Motor, places: Mapping[str, float]) -> None:
        """Add a motor to a job, or change the one of that label; named positions are kept in a build of its camera."""
        others = tuple(one for one in now.job.motors if one.id != motor.id)
        job = checked(now.job.model_copy(update={"motors": (*others, motor), "lenses": (), "readings": ()}))
        self.change_job(who, now, now.job.model_copy(update={"motors": job.motors}))
        if places and motor.camera:
            self._keep_places(who, now, motor, places)

    def _keep_places(self, who: str, now: JobNow, motor: Motor, places: Mapping[str, float]) -> None:
        with self.desk.writing(who, now.key) as writing:
            there = thing(writing.connection, build_id(now.id, motor.camera or "", BUILD))
            build = (
                CameraBuild.model_validate(there.data) if there else CameraBuild(name=BUILD, camera=motor.camera or "")
            )
            motors = tuple(one for one in build.motors if one.motor.id != motor.id)
            added = (*motors, BuildMotor(motor=motor, positions=dict(places)))
            save_build(writing, now.id, build.model_copy(update={"motors": added}), seen=there.seen if there else ())

    def copy_builds(self, who: str, now: JobNow, source: JobNow) -> list[str]:
        """Copy the camera builds of another job; the names of those copied."""
        with self.desk.writing(who, now.key) as writing:
            return copy_builds(writing, source.id, now.id)

    # --- measuring ---

    def add(self, who: str, now: JobNow, row_id: str, records: Sequence[Measured], sent: str | None) -> list[str]:
        """Add readings or tests of a lens; keys of the new ones. ``sent`` names the act, which may be sent twice."""
        if sent and sent in self._sent:
            return self._sent[sent]
        added: list[Measurement] = []
        with self.desk.writing(who, now.key, added=added) as writing:
            ids = measure(writing, now.name, row_id, records)
            found = [one for one in of_lenses(writing.connection, [now.lens_ids[row_id]]) if one.id in set(ids)]
            if len(found) == len(ids):
                added += found
        made = [one.hex() for one in ids]
        if sent:
            self._sent[sent] = made
            while len(self._sent) > MOST_REMEMBERED:
                del self._sent[next(iter(self._sent))]
        return made

    def correct(self, who: str, now: JobNow, row_id: str, old: str, record: Measured | None, reason: str) -> str | None:
        """Put a reading in place of another, or withdraw it; the key of the new one."""
        with self.desk.writing(who, now.key) as writing:
            made = correct(writing, _key(old), now.lens_ids[row_id], record, reason)
        return made.hex() if made else None

    def undo(self, who: str, now: JobNow, row_id: str) -> str:
        """Take back the last thing done to the readings of a lens, by another correction; what was done, in words."""
        last = self._last(now, lambda one: one.row_id == row_id)
        if last is None:
            raise NotThere("There is nothing to undo on this lens.")
        return self._take_back(who, now, last, "reading")

    def undo_morning(self, who: str, now: JobNow) -> str:
        """Take back the last thing done to the morning checks of a job, in the same way."""
        last = self._last(now, lambda one: one.kind == "morning" and one.row_id in now.lens_ids)
        if last is None:
            raise NotThere("There is no morning check to undo.")
        return self._take_back(who, now, last, "check")

    def _last(self, now: JobNow, chosen: Callable[[Measurement], bool]) -> LastAct | None:
        """The last act on the measurements of a job that are ``chosen``."""
        with self.desk.book.reading() as connection:
            everything = [one for one in of_job(connection, now.id) if chosen(one)]
            corrections = corrections_of_job(connection, now.id)
        document = JobDocument.of(now.thing.now)
        return last_act(everything, corrections, {one for kind in document.rows.values() for one in kind})

    def _take_back(self, who: str, now: JobNow, last: LastAct, word: str) -> str:
        with self.desk.writing(who, now.key) as writing:
            if last.gone is not None:
                measure(writing, now.name, last.gone.row_id or "", [last.gone.record()])
                return f"The {word} that was withdrawn counts again."
            if last.changed is not None:
                new, old = last.changed
                correct(writing, new.id, now.lens_ids[new.row_id or ""], old.record(), UNDONE)
                return f"The {word} is as it was before."
            for one in last.added:
                correct(writing, one.id, now.lens_ids[one.row_id or ""], None, UNDONE)
        return "Withdrawn: what was typed last."

    # --- cameras and sign-offs ---

    def swap(self, who: str, now: JobNow, camera: str, row_id: str | None) -> None:
        """Put a lens on a camera and take the one before off it; None only takes off."""
        if row_id is not None and row_id not in now.lens_ids:
            raise NotThere("There is no such lens in this job.")
        with self.desk.writing(who, now.key) as writing:
            for lens_id, placed in now.on_camera.items():
                if placed.data.get("camera") == camera and lens_id != now.lens_ids.get(row_id or ""):
                    put_on_camera(writing, now.id, lens_id, None, seen=placed.seen)
            if row_id is not None:
                lens_id = now.lens_ids[row_id]
                there = now.on_camera.get(lens_id)
                if there is None or there.data.get("camera") != camera:
                    put_on_camera(writing, now.id, lens_id, camera, seen=there.seen if there else ())

    def sign(self, who: str, now: JobNow, check: str, row_id: str | None, camera: str | None, note: str) -> None:
        """Sign a check of a lens, a camera or the job off, as ``who`` and now."""
        lens_id = now.lens_ids.get(row_id) if row_id else None
        if row_id and lens_id is None:
            raise NotThere("There is no such lens in this job.")
        with self.desk.writing(who, now.key) as writing:
            there = thing(writing.connection, sign_off_id(now.id, check, lens_id, camera))
            seen = there.seen if there else ()
            sign_off(writing, now.id, check, lens_id=lens_id, camera=camera, note=note, seen=seen)

    # --- the library ---

    def new_shelf(self, who: str, name: str, parent: str | None) -> str:
        """Make a shelf; its key."""
        with self.desk.writing(who, "book") as writing:
            return new_shelf(writing, name, _key(parent) if parent else None).hex()

    def shelve(self, who: str, lens: str, shelf: str | None, *, pinned: bool) -> None:
        """Put a lens on a shelf, pinned or not; None takes it off."""
        with self.desk.writing(who, "book") as writing:
            there = where_shelved(writing.connection, "lens", _key(lens))
            seen = there.seen if there else ()
            put_on_shelf(writing, "lens", _key(lens), _key(shelf) if shelf else None, pinned=pinned, seen=seen)

    def start_at(self, who: str, now: JobNow, camera: str, shelf: str) -> None:
        """Let the next change of lens of a camera start at a shelf."""
        if camera not in {one.letter for one in now.job.cameras}:
            raise NotThere("There is no such camera in this job.")
        with self.desk.writing(who, now.key) as writing:
            if _key(shelf) not in shelves(writing.connection):
                raise NotThere("There is no such shelf in this book.")
            there = camera_shelf(writing.connection, now.id, camera)
            set_camera_shelf(writing, now.id, camera, _key(shelf), seen=there.seen if there else ())

    def needs_work(self, who: str, lens: str, *, needs_work: bool, why: str) -> None:
        """Mark a lens as in need of work, or as done."""
        with self.desk.writing(who, "book") as writing:
            found = lenses_of(writing.connection, [_key(lens)]).get(_key(lens))
            if found is None:
                raise NotThere("There is no such lens in this book.")
            mark_lens(writing, found, needs_work=needs_work, why=why)
            index_lenses(writing.connection, {found.id})

    def serial_read(self, who: str, lens: str, serial: str) -> str:
        """Exchange a provisional serial for the real one; the key the lens goes by from now on."""
        with self.desk.writing(who, "book") as writing:
            real = read_serial(writing, _key(lens), serial)
            index_lenses(writing.connection, {real})
        return real.hex()


def _key(text: str) -> bytes:
    """The id behind a key in an address. Raises NotThere for what is none."""
    try:
        found = bytes.fromhex(text)
    except ValueError:
        found = b""
    if len(found) != 16:
        raise NotThere("There is nothing of that key in this book.")
    return found


def checked(job: Job) -> Job:
    """The job, read back as its file would be. Raises BookRefusal with what is wrong with it."""
    problems: list[Problem] = []
    read_job_toml(write_job_toml(job).encode(), problems)
    if problems:
        raise BookRefusal([_said(problem) for problem in problems])
    return job


def _said(problem: Problem) -> Any:  # noqa: ANN401 - a BookProblem
    from tapehook.book.trouble import BookProblem

    field = (problem.field or "the job").replace("_", " ")
    return BookProblem(field, f'read "{problem.read or ""}", expected {problem.expected}', problem.expected)
