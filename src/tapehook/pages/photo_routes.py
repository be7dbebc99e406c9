"""The route of a photo of condition: always a JPEG or PNG by what it holds, never what a name says."""

from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from tapehook.pages.at_hand import At, Key
from tapehook.pages.desk import NotThere
from tapehook.pages.photos import Photos

router = APIRouter(include_in_schema=False)

_TYPE = {"jpg": "image/jpeg", "png": "image/png"}


def photos_of(request: Request) -> Photos:
    """The photos of this server."""
    photos: Photos = request.app.state.photos
    return photos


@router.get("/job/{job}/photo/{lens}/{name}")
def get_photo(
    request: Request, desk: At, job: Key, lens: Key, name: Annotated[str, Path(pattern="^(receipt|return)-[0-9]{1,3}$")]
) -> Response:
    """A photo of a lens, such as receipt-1, small enough for a phone."""
    now = desk.job(job)
    row_id = now.row_of(lens)
    when, _, number = name.partition("-")
    title = now.job.title or now.name
    photo = None if row_id is None else photos_of(request).one(title, now.lens(row_id), when, int(number))
    if photo is None:
        raise NotThere("There is no such photo.")
    return Response(photo.data, media_type=_TYPE[photo.kind])
