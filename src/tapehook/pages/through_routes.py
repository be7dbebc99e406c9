"""The route that keeps what extender and port a lens is also used with."""

from fastapi import APIRouter

from tapehook.pages.asked import LensThrough
from tapehook.pages.at_hand import Act, At, Json, Key, Who
from tapehook.pages.desk import NotThere
from tapehook.pages.through import lens_through

api_router = APIRouter(prefix="/api")


@api_router.post("/jobs/{job}/bench/{lens}/through")
def post_through(desk: At, acts: Act, who: Who, job: Key, lens: Key, sent: LensThrough) -> Json:
    """Say what extender and port a lens is also used with; a blank field takes it out."""
    now = desk.job(job)
    row_id = now.row_of(lens)
    if row_id is None:
        raise NotThere("There is no such lens in this job.")
    acts.change_lens(who.who, now, lens_through(now.lens(row_id), sent))
    return {"stamp": desk.stamp()}
