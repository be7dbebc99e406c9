"""The sign-offs of a job as a handover prints them."""

from tapehook.book.jobs import JobDocument, choose_version, find_job, rows_now, sign_offs_of
from tapehook.book.store import Book
from tapehook.job.signed import SignedOff


def signed_off(book: Book, name: str) -> tuple[SignedOff, ...]:
    """What was signed off on the job of that name, lenses in the job's order, then cameras and the job.

    Raises BookRefusal when there is no such job.
    """
    with book.reading() as connection:
        job_id, found = find_job(connection, name, book.name)
        chosen = choose_version(found, name, None)
        ids = {lens.lens_id: lens.row_id for lens in JobDocument.of(chosen).lenses}
        rows = rows_now(connection, found, chosen, book.name)
        things = sign_offs_of(connection, job_id)
    newest: dict[str, str] = {}
    for measured in (one for listed in rows.values() for one in listed):
        newest[measured.row_id or ""] = max(newest.get(measured.row_id or "", ""), measured.written_at)
    order = {row_id: at for at, row_id in enumerate(ids.values())}
    made = []
    for one in things:
        row_id = ids.get(one.now.lens_id) if one.now.lens_id else None
        if one.now.lens_id and row_id is None:
            continue  # of a lens that left the job since
        said = {key: str(one.data.get(key) or "") for key in ("check", "by", "at", "note", "outcome")}
        since = newest.get(row_id or "", "") > said["at"]
        camera = one.data.get("camera")
        made.append(SignedOff(lens_id=row_id, camera=str(camera) if camera else None, since=since, **said))
    return tuple(sorted(made, key=lambda one: (order.get(one.lens_id or "", len(order)), one.camera or "", one.check)))
