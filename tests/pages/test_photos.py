"""Photos of condition on the pages: from the one folder that is the job's, by what they hold, and nothing beside."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pymupdf
import pytest

from tapehook.book.folders import read_folder
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.matching import Answers
from tapehook.book.store import Writer, new_book
from tapehook.job.writing import write_job
from tapehook.pages.app import make_app
from tapehook.pages.photos import Photos
from tapehook.pages.sessions import Sessions
from tests.pages.asking import Client
from tests.pages.conftest import let_in
from tests.pages.kit import Served, job_key, lens_key
from tests.photo_files import a_jpeg, a_png
from tests.prep.jobs import a_lens, read_off
from tests.simulator.paper import a_job

NAMED = "photos/a.jpg; photos/named.jpg; photos/cut.jpg; photos/none.jpg; photos/page.jpg; ../secret.jpg"
MARKUP = b"<html><script>alert(1)</script></html>"


def _job_folder(folder: Path) -> None:
    lens = a_lens("L1", condition_on_receipt="front <scratched>", photos_on_receipt=NAMED)
    write_job(a_job([lens], read_off(), title="Harbour"), folder)
    (folder / "photos").mkdir()
    (folder / "photos" / "a.jpg").write_bytes(a_jpeg(orientation=6))
    (folder / "photos" / "named.jpg").write_bytes(a_png())
    (folder / "photos" / "cut.jpg").write_bytes(a_jpeg(noise=20.0)[:900])
    (folder / "photos" / "page.jpg").write_bytes(MARKUP)
    (folder.parent / "secret.jpg").write_bytes(a_jpeg())


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """A server that was told the folder of all job folders."""
    _job_folder(tmp_path / "jobs" / "harbour")
    (tmp_path / "jobs" / "other").mkdir()
    with new_book(str(tmp_path / "own.book")) as book:
        read = read_folder(tmp_path / "jobs" / "harbour")
        with book.writing(Writer("Mara", "harbour")) as writing:
            carry_out(writing, plan_import(writing.connection, read, Answers()), read)
        sessions = Sessions("Mara")
        app = make_app(book, sessions, let_in=True, port=8310, photos=tmp_path / "jobs")
        yield Served(app, sessions, book)


def _client(served: Served) -> tuple[Client, str]:
    client = Client(served.app)
    client.get("/")
    job = job_key(client)
    return client, f"/job/{job}/photo/{lens_key(client, job, 'L1')}"


def test_a_photo_is_served_as_what_it_holds(served: Served) -> None:
    """Type by the bytes, whatever the name says; never sniffed, never kept; without what a phone noted in it."""
    client, photo = _client(served)
    first, second = client.get(f"{photo}/receipt-1"), client.get(f"{photo}/receipt-2")
    assert (first.status, first.header("content-type")) == (200, "image/jpeg")
    assert (second.status, second.header("content-type")) == (200, "image/png")
    for answer in (first, second):
        assert answer.header("x-content-type-options") == "nosniff"
        assert answer.header("cache-control") == "no-store"
        assert "default-src 'none'" in (answer.header("content-security-policy") or "")
    assert b"SECRET" not in first.body


def test_nothing_else_is_served(served: Served) -> None:
    """Cut short, missing, markup under a photo's name, outside the folder, no such number: there is no such photo."""
    client, photo = _client(served)
    for name in ("receipt-3", "receipt-4", "receipt-5", "receipt-6", "receipt-7", "receipt-0", "return-1"):
        answer = client.get(f"{photo}/{name}")
        assert answer.status == 404, name
        assert b"alert(1)" not in answer.body
    assert client.get(f"{photo}/../receipt-1").status in (404, 422)
    assert client.get(f"{photo}/receipt-1.jpg").status == 422
    assert client.get(photo[:-32] + "0" * 32 + "/receipt-1").status == 404


def test_the_bench_shows_them_and_says_what_is_wrong(served: Served) -> None:
    """Pictures with words for those who do not see them, condition as text, and what cannot be shown by name."""
    client, photo = _client(served)
    page = client.get(photo.replace("/photo/", "/bench/")).text
    assert page.count("<img src=") == 2
    assert 'alt="photo 1 of 6 on receipt: photos/a.jpg"' in page
    assert "front &lt;scratched&gt;" in page
    assert "20 Nov 2026, 10:11" in page
    for name in ("photos/cut.jpg", "photos/none.jpg", "photos/page.jpg", "../secret.jpg"):
        assert name in page
    assert page.count("not shown: it") == 4
    tablet = let_in(served, "view")
    assert tablet.get(f"{photo}/receipt-1").status == 200
    assert Client(served.app, "192.0.2.9", "localhost:8310").get(f"{photo}/receipt-1").status != 200


def test_the_pack_of_the_pages_has_them(served: Served) -> None:
    """The PDF shows the two that can be shown and tells the others."""
    client, photo = _client(served)
    data = client.get(f"{photo.partition('/photo/')[0]}/pack.pdf").body
    with pymupdf.open(stream=data) as pdf:
        (page,) = [one for one in pdf if one.get_image_info()]
        assert len(page.get_image_info()) == 2
        assert "photos/cut.jpg" in " ".join(page.get_text().split())


def test_a_folder_speaks_for_a_job_by_its_title(tmp_path: Path) -> None:
    """The folder itself or one in it; two of one title speak for none, and a link is not followed."""
    _job_folder(tmp_path / "jobs" / "harbour")
    both, one = Photos(tmp_path / "jobs"), Photos(tmp_path / "jobs" / "harbour")
    assert both.folder_of("Harbour") == one.folder_of("Harbour") == tmp_path / "jobs" / "harbour"
    assert both.folder_of("harbour") is None
    assert Photos(None).folder_of("Harbour") is None
    assert Photos(tmp_path / "none").folder_of("Harbour") is None
    (tmp_path / "linked").mkdir()
    (tmp_path / "linked" / "to").symlink_to(tmp_path / "jobs" / "harbour")
    assert Photos(tmp_path / "linked").folder_of("Harbour") is None
    shutil.copytree(tmp_path / "jobs" / "harbour", tmp_path / "jobs" / "copy")
    assert both.folder_of("Harbour") is None


def test_a_new_photo_takes_the_place_of_the_old(served: Served, tmp_path: Path) -> None:
    """A file that was replaced is read anew."""
    client, photo = _client(served)
    before = client.get(f"{photo}/receipt-1").body
    (tmp_path / "jobs" / "harbour" / "photos" / "a.jpg").write_bytes(a_jpeg(120, 90))
    after = client.get(f"{photo}/receipt-1").body
    assert before != after


def test_without_a_folder_the_bench_is_as_before(laptop: Client) -> None:
    """A server that was told none shows no photos, and has none."""
    job = job_key(laptop)
    lens = lens_key(laptop, job, "L13")
    assert "photo-row" not in laptop.get(f"/job/{job}/bench/{lens}").text
    assert laptop.get(f"/job/{job}/photo/{lens}/receipt-1").status == 404
