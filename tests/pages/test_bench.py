"""The bench over the interface: readings typed, pasted, corrected and undone, and what follows from them."""

import html
import re
from pathlib import Path

import pytest

from tapehook.book.jobs import load_job
from tapehook.job import Camera, ChartTest, Filter, read_job, write_job
from tests.pages.asking import Client
from tests.pages.conftest import let_in
from tests.pages.kit import MARKS, NOBODY, Served, measured_lens, new_lens


@pytest.fixture
def client(server: Served) -> Client:
    """The laptop on an empty book."""
    client = Client(server.app)
    client.get("/")
    return client


def _positions(server: Served) -> list[float]:
    return [reading.position for reading in load_job(server.book, "Harbour").readings]


def _type(client: Client, job: str, lens: str, distance: str, position: str, **more: object) -> None:
    sent = {"distance": distance, "position": position, "approach": "near_to_far", **more}
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/readings", sent)
    assert answer.status == 200, answer.text


def test_a_reading_typed_is_in_the_book(server: Served, client: Client) -> None:
    """Typed as the trade writes it, kept as SI units with what was written, under the name of whoever typed it."""
    job, lens = new_lens(client)
    _type(client, job, lens, "5'6\"", "131.8")
    _type(client, job, lens, "1.68 m", "131.9", approach="far_to_near", taped=True, temperature="19 °C")
    first, second = load_job(server.book, "Harbour").readings
    assert first.value == pytest.approx(1.6764)
    assert (first.written, first.position) == ("5'6\"", 131.8)
    assert (second.approach, second.method, second.temperature_c) == ("far_to_near", "taped", 19.0)


def test_a_bare_number_is_in_the_unit_of_the_scale(server: Served, client: Client) -> None:
    """Feet on a lens engraved in feet, metres where the switch says so; the unit is written down with it."""
    job, lens = new_lens(client)
    _type(client, job, lens, "5", "120.2")
    _type(client, job, lens, "5", "36.6", unit="m")
    feet, metres = load_job(server.book, "Harbour").readings
    assert feet.value == pytest.approx(1.524)
    assert feet.written == "5 ft"
    assert (metres.value, metres.written) == (5.0, "5 m")


@pytest.mark.parametrize(
    "distance, position, named",
    [
        ("5 6", "10", "distance"),
        ("5'", "ten", "position"),
        ("", "10", "distance"),
        ("5'", "", "position"),
        ("-2", "10", "distance"),
        ("2", "1e99", "position"),
    ],
)
def test_what_cannot_be_read_is_said_and_not_kept(
    server: Served, client: Client, distance: str, position: str, named: str
) -> None:
    """The field, what was read, what was expected; nothing is written."""
    job, lens = new_lens(client)
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/readings", {"distance": distance, "position": position})
    assert answer.status == 422
    assert [problem["field"] for problem in answer.json["problems"]] == [named]
    assert "expected" in answer.json["problems"][0]["sentence"]
    assert _positions(server) == []


def test_a_column_is_kept_whole_or_not_at_all(server: Served, client: Client) -> None:
    """Two of three lines are wrong: both are named by line, and the good one is not kept either."""
    job, lens = new_lens(client)
    sent = {"text": "distance\tposition\n2'\t300\n5 6\t200\n4'\tx", "approach": "near_to_far"}
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/column", sent)
    assert answer.status == 422
    assert [(problem["row"], problem["field"]) for problem in answer.json["problems"]] == [
        (3, "distance"),
        (4, "position"),
    ]
    assert _positions(server) == []


def test_a_column_with_both_ways(server: Served, client: Client) -> None:
    """A third cell is the position on the way back; a heading and empty lines are left out."""
    job, lens = new_lens(client)
    text = "distance;near;far\n\n2';300.0;300.6\ninf;0.2;0.9\n"
    assert client.post(f"/api/jobs/{job}/bench/{lens}/column", {"text": text}).status == 200
    readings = load_job(server.book, "Harbour").readings
    assert [(reading.approach, reading.position) for reading in readings] == [
        ("near_to_far", 300.0),
        ("far_to_near", 300.6),
        ("near_to_far", 0.2),
        ("far_to_near", 0.9),
    ]


def test_the_same_act_sent_twice_is_one(server: Served, client: Client) -> None:
    """After a cut of the network a page sends again what may have arrived: it is written once, and answered alike."""
    job, lens = new_lens(client)
    sent = {"distance": "5'", "position": "120.2", "sent": "abc123"}
    first, second = (client.post(f"/api/jobs/{job}/bench/{lens}/readings", sent).json["added"] for _ in range(2))
    assert first == second
    assert _positions(server) == [120.2]


def test_a_slip_is_found_and_put_right(server: Served, client: Client) -> None:
    """7' typed at the position 58.6 for 85.6: the bench names it with a fix; put right, nothing is left to fix."""
    job, lens = measured_lens(client)
    bench = client.get(f"/api/jobs/{job}/bench/{lens}").json
    wrong = next(mark for mark in bench["marks"] if mark["written"] == "7'")
    reading = wrong["near_to_far"][0]["id"]
    path = f"/api/jobs/{job}/bench/{lens}/correct"
    assert client.post(path, {"id": reading, "position": "58.6", "reason": "digits swapped"}).status == 200
    found = client.get(f"/api/jobs/{job}/bench/{lens}").json
    assert [one["code"] for one in found["findings"] if one["severity"] == "fix"] == ["map.suspect_mark"]
    assert "7'" in next(one["message"] for one in found["findings"] if one["severity"] == "fix")
    wrong = next(mark for mark in found["marks"] if mark["written"] == "7'")
    assert client.post(path, {"id": wrong["near_to_far"][0]["id"], "position": "85.6"}).status == 200
    found = client.get(f"/api/jobs/{job}/bench/{lens}").json
    assert [one for one in found["findings"] if one["severity"] == "fix"] == []
    assert sorted(_positions(server)) == sorted(position for _, position in MARKS)


def test_a_correction_leaves_the_rest_of_a_reading_alone(server: Served, client: Client) -> None:
    """Only the position is put right: distance as written, way and method stay to the letter."""
    job, lens = new_lens(client)
    _type(client, job, lens, "5'6\"", "13.18", approach="far_to_near", taped=True)
    (key,) = client.get(f"/api/jobs/{job}/bench/{lens}").json["marks"][0]["far_to_near"]
    before = load_job(server.book, "Harbour").readings[0]
    client.post(f"/api/jobs/{job}/bench/{lens}/correct", {"id": key["id"], "position": "131.8"})
    after = load_job(server.book, "Harbour").readings[0]
    assert after == before.model_copy(update={"position": 131.8})


def test_somebody_else_was_quicker(server: Served, client: Client) -> None:
    """A reading that was put right meanwhile cannot be put right again by its old name: nothing is overwritten."""
    job, lens = new_lens(client)
    _type(client, job, lens, "5'", "120.2")
    key = client.get(f"/api/jobs/{job}/bench/{lens}").json["marks"][0]["near_to_far"][0]["id"]
    path = f"/api/jobs/{job}/bench/{lens}/correct"
    assert client.post(path, {"id": key, "position": "120.3"}).status == 200
    assert client.post(path, {"id": key, "position": "999"}).status == 404
    assert client.post(path, {"id": key}).status == 422
    assert _positions(server) == [120.3]


def test_undo_goes_back_step_by_step(server: Served, client: Client) -> None:
    """Typed, typed, put right: undo gives the old position back, then takes the readings away, by corrections alone."""
    job, lens = new_lens(client)
    _type(client, job, lens, "5'", "120.2")
    _type(client, job, lens, "7'", "86")
    key = client.get(f"/api/jobs/{job}/bench/{lens}").json["marks"][1]["near_to_far"][0]["id"]
    client.post(f"/api/jobs/{job}/bench/{lens}/correct", {"id": key, "position": "85.6"})
    undo = f"/api/jobs/{job}/bench/{lens}/undo"
    seen = [sorted(_positions(server))]
    for _ in range(3):
        assert client.post(undo).status == 200
        seen.append(sorted(_positions(server)))
    assert seen == [[85.6, 120.2], [86.0, 120.2], [120.2], []]
    assert client.post(undo).status == 404


def test_another_sees_it_appear(server: Served, client: Client) -> None:
    """A page that waits for changes is told of one by another browser; the fragment it fetches then has the reading."""
    job, lens = new_lens(client)
    other = Client(server.app)
    page = other.get(f"/job/{job}/bench/{lens}").text
    stamp = page.split('data-stamp="')[1].split('"')[0]
    assert not other.get(f"/api/watch?topics={job}&since={stamp}&wait=0").json["changed"]
    _type(client, job, lens, "5'", "120.2")
    assert other.get(f"/api/watch?topics={job}&since={stamp}&wait=0").json["changed"]
    assert "120.2" in other.get(f"/part/bench/{job}/{lens}").json["parts"]["table"]


def test_a_change_by_another_program_is_seen(server: Served, client: Client) -> None:
    """Whoever writes to the same book without the server is noticed when the desk looks, and pages see it."""
    from tapehook.book.store import Writer
    from tapehook.book.working import measure
    from tapehook.job import Reading

    job, lens = new_lens(client)
    with server.book.writing(Writer("Cal", "another program")) as writing:
        measure(writing, "Harbour", "L1", [Reading(lens_id="L1", written="5'", value=1.524, position=120.2)])
    server.app._app.state.desk.look()  # type: ignore[attr-defined]
    assert "120.2" in client.get(f"/job/{job}/bench/{lens}").text


def test_a_chart_test_is_kept(server: Served, client: Client) -> None:
    """Distance, best focus, stop and the chart's width; what cannot be read is refused by field."""
    job, lens = new_lens(client)
    path = f"/api/jobs/{job}/bench/{lens}/charts"
    sent = {"distance": "6'", "position": "100.1", "stop": "T2", "width": "60 cm", "fill": "80 %"}
    assert client.post(path, sent).status == 200
    (test,) = load_job(server.book, "Harbour").charts
    assert [test.chart_distance_m, test.t_stop, test.chart_width_m, test.frame_fill] == [
        pytest.approx(value) for value in (1.8288, 2.0, 0.6, 0.8)
    ]
    refused = client.post(path, {"distance": "6'", "position": "100", "fill": "180 %"})
    assert [problem["field"] for problem in refused.json["problems"]] == ["frame filled"]


def test_signed_off_with_name_and_time_and_old_after_a_reading(client: Client) -> None:
    """The list says who and when; a reading afterwards makes the sign-off old, and a new one makes it good."""
    job, lens = measured_lens(client)
    assert client.post(f"/api/jobs/{job}/sign", {"lens": lens, "who": "Ben", "note": "proved"}).status == 200
    (entry,) = client.get(f"/api/jobs/{job}/lenses").json["lenses"]
    assert entry["signed"].startswith("Ben, ")
    assert not entry["measured_since"]
    _type(client, job, lens, "6'", "100")
    (entry,) = client.get(f"/api/jobs/{job}/lenses").json["lenses"]
    assert entry["measured_since"]
    assert "measured since" in client.get(f"/job/{job}/prep").text
    assert client.post(f"/api/jobs/{job}/sign", {"lens": lens}).status == 200
    (entry,) = client.get(f"/api/jobs/{job}/lenses").json["lenses"]
    assert (entry["signed"].split(",")[0], entry["measured_since"]) == ("Mara", False)


def test_a_lens_is_swapped_and_the_one_before_comes_off(client: Client) -> None:
    """Two lenses take turns on camera A; B has none of them."""
    job, first = new_lens(client)
    for letter in "AB":
        assert client.post(f"/api/jobs/{job}/cameras", {"letter": letter}).status == 200
    second = client.post(f"/api/jobs/{job}/lenses", {"id": "L2", "focal": "35 mm"}).json["lens"]
    for lens in (first, second):
        assert client.post(f"/api/jobs/{job}/swap", {"camera": "A", "lens": lens}).status == 200
    on = {lens["id"]: lens["on"] for lens in client.get(f"/api/jobs/{job}/onset").json["lenses"]}
    assert on == {"L1": None, "L2": "A"}
    assert client.post(f"/api/jobs/{job}/swap", {"camera": "Q", "lens": first}).status == 404


def test_a_change_of_lens_starts_at_the_shelf_of_the_camera(client: Client) -> None:
    """The On set page gets the lenses on it, those on a shelf within it too, and the pins; the shelf says so."""
    job, first = new_lens(client)
    for letter in "AB":
        assert client.post(f"/api/jobs/{job}/cameras", {"letter": letter}).status == 200
    second = client.post(f"/api/jobs/{job}/lenses", {"id": "L2", "focal": "35 mm", "serial": "4712"}).json["lens"]
    client.post(f"/api/jobs/{job}/lenses", {"id": "L3", "focal": "25 mm", "serial": "4713"})
    truck = client.post("/api/shelves", {"name": "Truck"}).json["key"]
    within = client.post("/api/shelves", {"name": "Case 2", "parent": truck}).json["key"]
    client.post(f"/api/lenses/{first}/shelf", {"shelf": truck, "pinned": True})
    client.post(f"/api/lenses/{second}/shelf", {"shelf": within})
    assert client.post(f"/api/jobs/{job}/start", {"camera": "A", "shelf": truck}).status == 200
    starts = {lens["id"]: lens["startsAt"] for lens in client.get(f"/api/jobs/{job}/onset").json["lenses"]}
    assert starts == {"L1": {"A": True}, "L2": {"A": False}, "L3": {}}
    client.get(f"/job/{job}/prep")
    assert "of camera A of" in client.get(f"/lenses?shelf={truck}").text
    assert "of camera A of" not in client.get(f"/lenses?shelf={within}").text
    assert client.post(f"/api/jobs/{job}/start", {"camera": "Q", "shelf": truck}).status == 404
    assert client.post(f"/api/jobs/{job}/start", {"camera": "A", "shelf": "0" * 32}).status == 404


def test_an_extra_motor_keeps_its_own_unit(client: Client) -> None:
    """Named positions become a scale in degrees; the On set page gets the figures, per cent beside."""
    job, _ = new_lens(client)
    client.post(f"/api/jobs/{job}/cameras", {"letter": "A"})
    sent = {"id": "M4", "camera": "A", "axis": "extra", "positions": "0 deg = 0, 45 deg = 52, 90 deg = 100"}
    assert client.post(f"/api/jobs/{job}/motors", sent).status == 200
    (motor,) = client.get(f"/api/jobs/{job}/onset").json["motors"]
    assert motor["unit"] == "deg"
    assert [(place["value"], place["percent"]) for place in motor["places"]] == [(0, 0), (45, 52), (90, 100)]
    wrong = client.post(f"/api/jobs/{job}/motors", {**sent, "axis": "focus"})
    assert wrong.status == 422


@pytest.mark.parametrize("what", ["readings", "column", "charts", "correct", "undo"])
def test_nothing_is_written_to_what_is_not_there(client: Client, what: str) -> None:
    """An unknown job, and an unknown lens of a job that is there, are told as such."""
    job, _ = new_lens(client)
    sent = {
        "readings": {"distance": "5'", "position": "1"},
        "column": {"text": "5'\t1"},
        "charts": {"distance": "5'", "position": "1"},
        "correct": {"id": NOBODY},
        "undo": {},
    }[what]
    for place in (NOBODY, job):
        assert client.post(f"/api/jobs/{place}/bench/{NOBODY}/{what}", sent).status == 404


def test_signs_that_no_record_holds_are_refused_in_words(client: Client) -> None:
    """A name with a control sign in it: refused by its field, and not a failure of the server."""
    answer = client.post("/api/jobs", {"name": "a\x1bb"})
    assert answer.status == 422
    assert answer.json["problems"][0]["field"] == "title"


def test_a_mark_has_one_row_however_it_was_written(client: Client) -> None:
    """inf, infinity and the sign are one mark, and so are 3', 3 ft and 36 inches; the first spelling stands there."""
    job, lens = new_lens(client)
    for at, distance in enumerate(("3'", "inf", '36"', "3 ft", "∞", "infinity", "3'1\"")):
        _type(client, job, lens, distance, str(100 + at))
    page = client.get(f"/job/{job}/bench/{lens}").text
    rows = re.findall(r'<th scope="row"><bdi>([^<]*)</bdi>', page)
    assert [html.unescape(row) for row in rows] == ["3'", "3'1\"", "inf"]


def test_chart_tests_of_an_anamorphic_lens_say_which_lines(laptop: Client) -> None:
    """L23 of the demo job was tested on upright and on level lines; without the word its rows look like scatter."""
    (job,) = (one["key"] for one in laptop.get("/api/jobs").json["jobs"])
    lens = next(one["key"] for one in laptop.get(f"/api/jobs/{job}/lenses").json["lenses"] if one["id"] == "L23")
    page = laptop.get(f"/job/{job}/bench/{lens}").text
    said = re.findall(r'<bdi>1.5 m</bdi> <span class="quiet said-of">(.*?)</span>', page)
    words = sorted(re.sub("<[^>]*>", "", one) for one in said)
    ways = ("far→near", "near→far")
    assert words == [f"{lines} lines, {way}, on C" for lines in ("level", "upright") for way in ways]


def _tests(server: Served) -> list[ChartTest]:
    return list(load_job(server.book, "Harbour").charts)


def test_a_chart_test_has_all_that_its_table_holds(server: Served, client: Client, tmp_path: Path) -> None:
    """Way, camera, a zoom's focal length, lines and glass are kept as charts.csv keeps them, shown at the bench, and
    read back from the folder that the job is exported to."""
    job, lens = _fitted_out(server, client)
    sent = {"distance": "6'", "position": "100.1", "approach": "far_to_near", "camera": "a", "focal": "35 mm"}
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/charts", {**sent, "lines": "upright", "glass": "Rear gel"})
    assert answer.status == 200, answer.text
    (test,) = _tests(server)
    assert (test.approach, test.camera, test.focal_mm) == ("far_to_near", "A", 35.0)
    assert (test.lines, test.rear_filter) == ("upright", "Rear gel")
    (shown,) = client.get(f"/api/jobs/{job}/bench/{lens}").json["charts"]
    assert shown["said"] == ["upright lines", "far→near", "35 mm", "on A", "behind it Rear gel"]
    write_job(load_job(server.book, "Harbour"), tmp_path / "out")
    assert read_job(tmp_path / "out").charts == (test.model_copy(update={"row": 2}),)


def _fitted_out(server: Served, client: Client) -> tuple[str, str]:
    """The job with a camera, a rear filter, and a zoom that squeezes, as its folder would have them."""
    job, lens = new_lens(client, focal="25-75 mm")
    desk = server.app._app.state.desk  # type: ignore[attr-defined]
    acts = server.app._app.state.acts  # type: ignore[attr-defined]
    now = desk.job(job)
    gel = Filter(id="rear gel", kind="other", thickness_mm=0.1)
    changed = {"cameras": (Camera(letter="A"),), "filters": (gel,)}
    lenses = (now.job.lenses[0].model_copy(update={"squeeze": 2.0}),)
    acts.change_job("Mara", now, now.job.model_copy(update={**changed, "lenses": lenses}))
    return job, lens


@pytest.mark.parametrize(
    "field, text, named, expected",
    [
        ("camera", "Z", "camera", "a camera of the job: A"),
        ("glass", "gauze", "glass behind it", "rear gel"),
        ("focal", "100 mm", "focal length", "25 to 75 mm"),
        ("focal", "25-75 mm", "focal length", "one focal length"),
        ("focal", "wide", "focal length", "expected"),
        ("lines", "slanted", "lines", "'upright' or 'level'"),
        ("approach", "sideways", "approach", "'near_to_far' or 'far_to_near'"),
    ],
)
def test_a_chart_test_on_what_the_job_has_not_is_refused(
    server: Served, client: Client, field: str, text: str, named: str, expected: str
) -> None:
    """A camera, a glass, a focal length, lines or a way that no folder could hold: said by field, and not kept."""
    job, lens = _fitted_out(server, client)
    sent = {"distance": "6'", "position": "100.1", field: text}
    answer = client.post(f"/api/jobs/{job}/bench/{lens}/charts", sent)
    assert answer.status == 422
    (problem,) = answer.json["problems"]
    assert problem["field"] == named
    assert expected in problem["sentence"]
    assert _tests(server) == []


def test_glass_is_refused_where_the_job_lists_none(server: Served, client: Client) -> None:
    """That nothing stood behind the lens can be said of any job."""
    job, lens = new_lens(client)
    path = f"/api/jobs/{job}/bench/{lens}/charts"
    refused = client.post(path, {"distance": "6'", "position": "100", "glass": "gel"})
    assert "which lists none" in refused.json["problems"][0]["sentence"]
    assert client.post(path, {"distance": "6'", "position": "100", "glass": "none"}).status == 200
    assert [test.rear_filter for test in _tests(server)] == ["none"]


def test_a_chart_test_is_withdrawn_and_undone_step_by_step(server: Served, client: Client) -> None:
    """By its key, like a reading: withdrawn it counts no more, undo lets it count again, undo again takes it back."""
    job, lens = _fitted_out(server, client)
    sent = {"distance": "6'", "position": "100.1", "approach": "near_to_far", "lines": "level", "focal": "75"}
    client.post(f"/api/jobs/{job}/bench/{lens}/charts", sent)
    (before,) = _tests(server)
    key = client.get(f"/api/jobs/{job}/bench/{lens}").json["charts"][0]["id"]
    assert client.post(f"/api/jobs/{job}/bench/{lens}/correct", {"id": key, "reason": "withdrawn"}).status == 200
    assert _tests(server) == []
    undo = f"/api/jobs/{job}/bench/{lens}/undo"
    assert client.post(undo).status == 200
    assert _tests(server) == [before]
    assert client.post(undo).status == 200
    assert _tests(server) == []
    assert client.post(undo).status == 404


def test_fields_of_a_chart_test_are_those_the_lens_calls_for(client: Client) -> None:
    """Way, stop and camera for any lens; lines for one that squeezes, focal length for a zoom, glass where
    there is any."""
    job, prime = new_lens(client)
    asked = {"distance", "position", "approach", "stop", "camera", "width", "fill"}
    assert _fields(client.get(f"/job/{job}/bench/{prime}").text) == asked


def test_fields_of_a_chart_test_of_a_zoom_that_squeezes(server: Served, client: Client) -> None:
    """All of them; whoever may only look has none, and no button that withdraws."""
    job, lens = _fitted_out(server, client)
    client.post(f"/api/jobs/{job}/bench/{lens}/charts", {"distance": "6'", "position": "100.1"})
    page = client.get(f"/job/{job}/bench/{lens}").text
    assert _fields(page) >= {"lines", "focal", "glass"}
    assert "lines not noted" in page
    assert "withdraw the chart test" in page
    looking = let_in(server, "view")
    page = looking.get(f"/job/{job}/bench/{lens}").text
    assert _fields(page) == set()
    assert "withdraw the chart test" not in page
    assert looking.post(f"/api/jobs/{job}/bench/{lens}/charts", {"distance": "6'", "position": "1"}).status == 403


def _fields(page: str) -> set[str]:
    """The names in the form of a chart test."""
    form = re.search(r'<details id="chart-test"[^>]*>(.*?)</details>', page, re.DOTALL)
    return set(re.findall(r' name="(\w+)"', form.group(1))) if form else set()
