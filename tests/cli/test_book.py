"""``tapehook book``: each command as a person types it, its JSON in the documented shape, its refusals in words."""

from pathlib import Path
from typing import Any

import pytest

from tapehook.book.jobs import job_id_of, job_names, sign_off
from tapehook.book.lenses import lens_id_of
from tapehook.book.store import Writer, open_book
from tests.cli.jobs import write_small_job
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema, strictly


@pytest.fixture
def at_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a job in it, and an empty book that TAPEHOOK_BOOK names."""
    write_small_job(tmp_path / "my-job")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAPEHOOK_BOOK", "house.book")
    assert run("book", "new").exit_code == 0
    return tmp_path


def fits(name: str, *args: str | Path) -> dict[str, object]:
    """What a command of the book prints with --json, in its documented shape."""
    value: dict[str, object] = run_json("book", name, *args)
    assert list(misfits(value, schema(f"book-{name}"))) == []
    return value


@pytest.mark.usefixtures("at_work")
def test_every_command_prints_its_shape() -> None:
    """One after the other, as in a week's work."""
    assert fits("new", "--book", "other.book")["book"] == "other.book"
    preview = fits("import", "my-job")
    assert (preview["written"], preview["added"]) == (False, {"readings": 44, "charts": 0, "tstops": 0, "morning": 0})
    assert fits("import", "my-job", "--write", "--by", "Anna")["written"] is True
    assert fits("import", "my-job")["matched"] == preview["added"]
    assert fits("export", "Harbour", "folder")["job"] == "Harbour"
    assert fits("merge", "house.book", "--book", "other.book")["conflicts"] == []
    assert fits("backup", "friday.book")["file"] == "friday.book"
    assert fits("restore", "friday.book")["kept"] is not None
    assert fits("check")["faults"] == []
    found = fits("find", "50 mm")
    assert [lens["serial"] for lens in found["lenses"]] == ["4711"]  # type: ignore[attr-defined]
    history = fits("history", "4711")
    assert [session["job"] for session in history["sessions"]] == ["Harbour"]  # type: ignore[attr-defined]
    assert len(history["measurements"]) == 22  # type: ignore[arg-type]


def test_a_preview_writes_nothing(at_work: Path) -> None:
    """Only --write does."""
    before = (at_work / "house.book").read_bytes()
    assert "Nothing was written" in run("book", "import", "my-job").stdout
    assert (at_work / "house.book").read_bytes() == before


@pytest.mark.usefixtures("at_work")
def test_questions_of_an_import_are_shown_and_answered() -> None:
    """A serial written otherwise: shown with what to type, refused until it is answered."""
    run("book", "import", "my-job", "--write")
    text = Path("my-job/lenses.csv").read_text(encoding="utf-8")
    Path("my-job/lenses.csv").write_text(text.replace(",4711,", ",47-11,"), encoding="utf-8")
    shown = run("book", "import", "my-job", "--name", "Pier", width=200)
    assert "It would be refused:" in shown.stdout
    assert "--same N50" in shown.stdout
    assert "--same N50" in refused("book", "import", "my-job", "--name", "Pier", "--write")[0]
    asked = fits("import", "my-job", "--name", "Pier")
    assert len(asked["problems"]) == 1  # type: ignore[arg-type]
    assert run("book", "import", "my-job", "--name", "Pier", "--write", "--same", "N50").exit_code == 0
    with open_book() as book, book.reading() as connection:
        assert job_names(connection) == ["Harbour", "Pier"]


@pytest.mark.usefixtures("at_work")
def test_who_when_and_how_warm_are_kept() -> None:
    """As typed at the import; and shown in the history."""
    args = ("--by", "Anna", "--measured", "2024-05-06", "--temperature", "-4")
    assert run("book", "import", "my-job", "--write", *args).exit_code == 0
    sessions = fits("history", lens_id_of(None, "4711").hex())["sessions"]
    assert [session["title"] for session in sessions] == ["2024-05-06, Harbour"]  # type: ignore[attr-defined]
    row = fits("history", "4711")["measurements"][0]  # type: ignore[index]
    assert (row["who"], row["temperature_c"], row["body"]) == ("Anna", -4.0, None)
    listed = run("book", "history", "4711", "--all", width=160).stdout
    assert "focus inf at" in listed
    assert "Anna" in listed


@pytest.mark.usefixtures("at_work")
def test_a_picture_of_the_history() -> None:
    """With two sessions there is one; with one it is refused, and no file is made."""
    run("book", "import", "my-job", "--write", "--measured", "2024-05-06")
    (sentence,) = refused("book", "history", "4711", "--picture", "h.svg")
    assert "no two sessions" in sentence
    assert not Path("h.svg").exists()
    run("book", "import", "my-job", "--write", "--name", "Pier", "--measured", "2025-05-06")
    assert fits("history", "4711", "--picture", "h.svg")["picture"] == "h.svg"
    assert Path("h.svg").read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.usefixtures("at_work")
def test_prep_of_a_job_of_the_book() -> None:
    """The same handover as from the folder, byte for byte but for nothing."""
    run("book", "import", "my-job", "--write")
    assert run("prep", "my-job", "--out", "one").exit_code == 0
    assert run("prep", "--job", "Harbour", "--out", "two").exit_code == 0
    names = {path.name for path in Path("one").iterdir()}
    assert names == {path.name for path in Path("two").iterdir()}
    assert (Path("one") / "marks.csv").read_bytes() == (Path("two") / "marks.csv").read_bytes()
    assert (Path("one") / "findings.csv").read_bytes() == (Path("two") / "findings.csv").read_bytes()
    assert "there is 'Harbour'" in refused("prep", "--job", "Harbor", "--out", "three")[0]
    assert "or --job and a name" in refused("prep", "my-job", "--job", "Harbour", "--out", "three")[0]
    assert "or --job and a name" in refused("prep", "--out", "three")[0]
    assert not Path("three").exists()


REFUSALS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("new",), "already"),
    (("find", "x", "--book", "nowhere.book"), "tapehook book new"),
    (("find", "x", "--book", "mysql://a:secret@b/c"), "a book is a file, or a database at postgresql://"),
    (("import", "nowhere"), "No such file"),
    (("import", "my-job", "--same", "X9"), "--same"),
    (("import", "my-job", "--measured", "yesterday"), "a day such as 2026-03-14"),
    (("import", "my-job", "--by", "a\nb"), "a name on one line"),
    (("import", "my-job", "--temperature", "hot"), "--temperature"),
    (("export", "Harbour", "folder"), "there is no job called 'Harbour'"),
    (("merge", "house.book"), "this is the same book"),
    (("merge", "my-job/lenses.csv"), "this file is no book"),
    (("backup", "my-job/lenses.csv"), "already"),
    (("restore", "nowhere.book"), "no book here"),
    (("history", "4711"), "finds no lens"),
    (("find",), "WORDS"),
    (("find", "x", "--most", "0"), "--most"),
    (("paint",), "no such command"),
)


@pytest.mark.usefixtures("at_work")
@pytest.mark.parametrize("args, said", REFUSALS)
def test_refusals(args: tuple[str, ...], said: str) -> None:
    """In one sentence, exit code 2, and in the documented JSON too; no password is ever shown."""
    sentences = refused("book", *args)
    assert said in sentences[0]
    assert "secret" not in sentences[0]
    result = run("book", *args, "--json")
    assert result.exit_code == 2
    assert list(misfits(strictly(result.stdout), schema("problems"))) == []


@pytest.mark.usefixtures("at_work")
def test_a_faulty_book_ends_with_one() -> None:
    """The check was done, so it is no refusal; the fault is in the JSON too."""
    run("book", "import", "my-job", "--write")
    with open_book() as book, book.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM lens_word")
    result = run("book", "check", "--json")
    assert result.exit_code == 1
    value = strictly(result.stdout)
    assert list(misfits(value, schema("book-check"))) == []
    assert value["faults"][0]["code"] == "book.search"
    assert run("book", "check", "--mend").exit_code == 0


@pytest.mark.usefixtures("at_work")
def test_what_people_typed_is_never_obeyed() -> None:
    """Control characters in a title come out as escapes."""
    job = Path("my-job/job.toml")
    job.write_text(job.read_text(encoding="utf-8").replace("Harbour", "Har\u202ebour"), encoding="utf-8")
    result = run("book", "import", "my-job", "--write")
    assert "\u202e" not in result.stdout
    assert "Har\\u202ebour" in result.stdout


def _signed_apart() -> None:
    """Two books, house.book and b-unit.book, whose people signed off one lens, merged into house.book."""
    run("book", "import", "my-job", "--write")
    run("book", "new", "--book", "b-unit.book")
    run("book", "merge", "house.book", "--book", "b-unit.book")
    for where, by in (("house.book", "Anna"), ("b-unit.book", "Ben")):
        with open_book(where) as book, book.writing(Writer(by)) as writing:
            sign_off(writing, job_id_of("Harbour"), "map", lens_id=lens_id_of(None, "4711"))
    run("book", "merge", "b-unit.book")


@pytest.mark.usefixtures("at_work")
def test_a_conflict_is_settled_as_a_person_types_it() -> None:
    """Shown with its choices, settled by the ends of two ids, gone afterwards; what does not fit is refused."""
    assert fits("settle") == {"book": "house.book", "settled": None, "conflicts": []}
    _signed_apart()
    waiting: Any = fits("settle")["conflicts"]
    (conflict,) = waiting
    kept = {one["who"]: one["id"] for one in conflict["choices"]}["Ben"]
    ending = conflict["id"][-8:]
    shown = run("book", "settle", ending, width=200).stdout
    assert f"{ending}  sign-off, map" in shown
    assert f"{kept}  " in shown
    assert "by: Ben" in shown
    assert "one of --keep, --same and --apart" in refused("book", "settle", "--keep", kept)[0]
    assert "which one stands" in refused("book", "settle", ending, "--apart")[0]
    assert fits("settle", ending, "--keep", kept, "--by", "Cleo")["settled"] == conflict["id"]
    assert "Nothing waits" in run("book", "settle").stdout
    assert "no conflict ends in" in refused("book", "settle", ending, "--keep", kept)[0]


@pytest.mark.usefixtures("at_work")
def test_a_serial_is_exchanged_as_a_person_types_it() -> None:
    """The lens is found by words, told by its new name; one read already, or no serial at all, is refused."""
    path = Path("my-job/lenses.csv")
    path.write_text(path.read_text(encoding="utf-8").replace(",4711,", ",,"), encoding="utf-8")
    run("book", "import", "my-job", "--write")
    assert refused("book", "serial", " ", "serial", "not", "read")
    assert "serial 4711" in run("book", "serial", "4711", "serial", "not", "read", width=200).stdout
    assert "read already" in refused("book", "serial", "4712", "4711")[0]


@pytest.mark.usefixtures("at_work")
def test_shelves_as_a_person_types_them() -> None:
    """Made with what is around them, lenses put on, pinned, moved and taken off, a camera's start; all or nothing."""
    run("book", "import", "my-job", "--write")
    assert fits("shelf")["shelves"] == []
    made: Any = fits("shelf", "Truck/A camera", "--new", "--put", "4711", "--pin", "4712")["shelves"]
    assert [(one["path"], [(lens["title"], lens["pinned"]) for lens in one["stands"]]) for one in made] == [
        ("Truck / A camera", [("lens, serial 4712", True), ("lens, serial 4711", False)])
    ]
    started: Any = fits("shelf", "a camera", "--camera", "A", "--job", "Harbour")["shelves"]
    assert started[0]["cameras"] == [{"job": "Harbour", "camera": "A"}]
    assert "camera A of Harbour" in run("book", "shelf", width=200).stdout
    moved: Any = fits("shelf", "A camera", "--into", "/", "--name", "A", "--take", "4712")["shelves"]
    assert [(one["path"], [lens["title"] for lens in one["stands"]]) for one in moved] == [("A", ["lens, serial 4711"])]
    found: Any = fits("find", "4711")["lenses"]
    assert {lens["serial"]: lens["shelves"] for lens in found} == {"4711": ["A"], "4712": []}
    before = fits("shelf")
    for args, said in (
        (("Truck", "--into", "Truck"), "cannot stand in itself"),
        (("Truck", "--new"), "there is a shelf Truck already"),
        (("Nix", "--put", "4711"), "no shelf is called Nix. There is A, Truck"),
        (("A", "--camera", "Z", "--job", "Harbour", "--pin", "4712"), "no camera Z. There is A"),
        (("A", "--camera", "A"), "go together"),
        (("--new",), "say which shelf"),
        (("A", "--put", "teasel"), "no lens"),
        (("A", "--name", "a/b"), "without a slash"),
        ((" / ", "--new"), "needs a name"),
    ):
        assert said in refused("book", "shelf", *args)[0], args
    assert fits("shelf") == before


@pytest.mark.usefixtures("at_work")
def test_a_tie_is_taken_back_as_a_person_types_it() -> None:
    """Shown with its id, taken back by the end of it, gone afterwards; what does not fit is refused."""
    path = Path("my-job/lenses.csv")
    path.write_text(path.read_text(encoding="utf-8").replace(",4711,", ",,"), encoding="utf-8")
    run("book", "import", "my-job", "--write")
    assert "nothing to take back" in run("book", "untie", "serial", "not", "read", width=200).stdout
    run("book", "serial", "4717", "serial", "not", "read")
    listed: Any = fits("untie", "4717")["ties"]
    (tie,) = listed
    ending = tie["id"][-8:]
    shown = run("book", "untie", "4717", width=200).stdout
    assert ending in shown
    assert "its serial was read" in shown
    assert "no tie ends in zz" in refused("book", "untie", "4717", "--tie", "zz")[0]
    assert "a reason on one line" in refused("book", "untie", "4717", "--tie", ending, "--why", " ")[0]
    assert "no such lens" in refused("book", "untie", "0" * 32)[0]
    before = fits("untie", "4717")
    assert before["untied"] is None
    done: Any = fits("untie", "4717", "--tie", ending, "--why", "it was 4711", "--by", "Cleo")
    assert done["untied"] == tie
    assert done["ties"] == []
    assert len(done["lenses"]) == 2
    assert "no tie ends in" in refused("book", "untie", "4717", "--tie", ending)[0]
