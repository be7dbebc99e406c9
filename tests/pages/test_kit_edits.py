"""The Kit page keeps what it does not ask for, and takes figures in the units they are written in, or not at all."""

import pytest

from tapehook.book.jobs import load_job
from tapehook.job import Camera, Job, Motor
from tests.pages.asking import Client
from tests.pages.conftest import let_in
from tests.pages.kit import Served, new_lens


@pytest.fixture
def client(server: Served) -> Client:
    """The laptop on an empty book."""
    client = Client(server.app)
    client.get("/")
    return client


@pytest.fixture
def kit(server: Served, client: Client) -> str:
    """A job with one camera and one motor of which more is known than the page asks for."""
    job, _ = new_lens(client)
    acts = server.app._app.state.acts  # type: ignore[attr-defined]
    now = acts.desk.job(job)
    camera = Camera(letter="A", name="body 7", sensor_width_mm=24.9, sensor_height_mm=18.7, monitor_delay_ms=83.0)
    motor = Motor(id="M3", camera="A", axis="zoom", lag_ms=21.0, extra={"gear": "0.8"})
    acts.change_job("Mara", now, now.job.model_copy(update={"cameras": (camera,), "motors": (motor,)}))
    return job


def _job(server: Served) -> Job:
    return load_job(server.book, "Harbour")


def test_a_change_of_a_camera_keeps_the_rest_of_it(kit: str, server: Served, client: Client) -> None:
    """The colour of its tape changes; its recorded area and the delay of its monitor stay."""
    assert client.post(f"/api/jobs/{kit}/cameras", {"letter": "A", "colour": "red"}).status == 200
    (camera,) = _job(server).cameras
    kept = (camera.colour, camera.name, camera.sensor_width_mm, camera.monitor_delay_ms)
    assert kept == ("red", "body 7", 24.9, 83.0)


def test_a_change_of_a_motor_keeps_the_rest_of_it(kit: str, server: Served, client: Client) -> None:
    """Its lag changes; it still drives the zoom of camera A, and what nobody asks for stays."""
    assert client.post(f"/api/jobs/{kit}/motors", {"id": "M3", "lag_ms": "30"}).status == 200
    (motor,) = _job(server).motors
    assert (motor.lag_ms, motor.axis, motor.camera, motor.extra) == (30.0, "zoom", "A", {"gear": "0.8"})
    assert client.post(f"/api/jobs/{kit}/motors", {"id": "M4"}).status == 200
    assert _job(server).motors[-1].axis == "focus"


@pytest.mark.parametrize(
    "path, sent, said",
    [
        ("cameras", {"letter": "B", "sensor_width_mm": "0"}, 'width: read "0.0", expected at least 1'),
        ("cameras", {"letter": "B", "sensor_width_mm": "wide"}, 'width: read "wide", expected a number'),
        ("motors", {"id": "M5", "lag_ms": "-3"}, 'lag: read "-3.0", expected at least 0'),
        ("facts", {"units": "metric", "shooting_stop": "f2.8"}, "shooting stop: read"),
        ("lenses", {"id": "L9", "focal": "50 mm", "stop": "f/1.4"}, 'widest stop: read "f/1.4", expected a T-stop'),
        ("lenses", {"id": "L9", "focal": "50 mm", "close_focus": "2"}, 'close focus: read "2", expected a distance'),
    ],
)
def test_what_cannot_be_is_said_by_the_label_of_its_field(
    path: str, sent: dict[str, str], said: str, kit: str, client: Client
) -> None:
    """In the words that stand at the field, and of limits in plain ones."""
    answer = client.post(f"/api/jobs/{kit}/{path}", sent)
    assert answer.status == 422
    (problem,) = answer.json["problems"]
    assert problem["sentence"].startswith(said)


@pytest.mark.parametrize(
    "engraved_in, typed, metres", [("feet", "2", 0.6096), ("metric", "0.6", 0.6), ("", "2'", 0.6096)]
)
def test_close_focus_is_in_the_unit_of_the_scale(
    engraved_in: str, typed: str, metres: float, kit: str, server: Served, client: Client
) -> None:
    """A bare figure is in what the scale is engraved in; where that was not said it must have a unit."""
    sent = {"id": "L9", "focal": "50 mm", "close_focus": typed, "engraved_in": engraved_in or None}
    assert client.post(f"/api/jobs/{kit}/lenses", sent).status == 200
    assert _job(server).lenses[-1].close_focus_m == pytest.approx(metres)


def test_the_width_of_a_chart_is_in_millimetres_as_in_charts_csv(server: Served, client: Client) -> None:
    """A bare 400 is 400 mm, not 400 m; an f-number says nothing of light and is refused."""
    job, lens = new_lens(client)
    path = f"/api/jobs/{job}/bench/{lens}/charts"
    assert client.post(path, {"distance": "6'", "position": "100", "width": "400", "fill": "80 %"}).status == 200
    assert _job(server).charts[0].chart_width_m == pytest.approx(0.4)
    refused = client.post(path, {"distance": "6'", "position": "100", "stop": "f/2"})
    assert [problem["field"] for problem in refused.json["problems"]] == ["stop"]


def test_a_save_over_what_somebody_else_kept_since_is_told(kit: str, server: Served, client: Client) -> None:
    """The page showed T2.8, Ben kept T4; T5.6 is not written over it until the page has shown T4."""
    shown = {"units": "imperial", "was_units": "imperial", "was_shooting_stop": "T2.8"}
    other = let_in(server, "edit")
    assert other.post(f"/api/jobs/{kit}/facts", {**shown, "shooting_stop": "T4"}).status == 200
    answer = client.post(f"/api/jobs/{kit}/facts", {**shown, "shooting_stop": "T5.6"})
    assert answer.status == 409
    (problem,) = answer.json["problems"]
    assert problem["sentence"].startswith(
        "shooting stop: it was changed meanwhile to T4; the job was written to last by Ben"
    )
    assert _job(server).shooting_stop == "T4"
    seen = {**shown, "was_shooting_stop": "T4", "shooting_stop": "T5.6"}
    assert client.post(f"/api/jobs/{kit}/facts", seen).status == 200
    assert _job(server).shooting_stop == "T5.6"


def test_a_stop_set_where_the_page_showed_none_is_not_written_over(kit: str, client: Client) -> None:
    """An empty field counts as what the page showed; the same stop as is kept already is no conflict."""
    none = {"units": "imperial", "was_units": "imperial", "was_shooting_stop": None}
    assert client.post(f"/api/jobs/{kit}/facts", {**none, "shooting_stop": "T4"}).status == 409
    assert client.post(f"/api/jobs/{kit}/facts", {**none, "shooting_stop": "T2.8"}).status == 200


def test_kit_renews_what_it_shows(kit: str, client: Client) -> None:
    """Its parts say the shooting stop that is kept now, as text and for the script that renews the fields."""
    sent = {"units": "imperial", "shooting_stop": "T4"}
    assert client.post(f"/api/jobs/{kit}/facts", sent).status == 200
    parts = client.get(f"/part/kit/{kit}").json["parts"]
    assert 'data-shooting_stop="T4"' in parts["facts"]
    assert "shooting stop T4" in parts["facts"]
    assert "body 7" in parts["cameras"]
