"""The page Weather: lenses brought into other air and the morning check, as the commands say, kept, undone, live."""

import re
from typing import Any
from urllib.parse import urlencode

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.book.working import open_job
from tapehook.prep.dew import check_dew
from tests.cli.shapes import misfits, schema
from tests.pages.asking import Client
from tests.pages.kit import NOBODY, Served, job_key, lens_key

COLD = {"air": "22 °C", "humidity": "50 %", "lens": "-5 °C"}
CHECKS = (("L03", "inf", "4.9"), ("L05", "5 m", "66.3"), ("L01", "inf", "3.2"))
JOB = "Ninety Herons, prep"
DAY = "2027-01-05"
"""Later than the cold morning of the demo job."""


def _asked(path: str, **fields: str) -> str:
    return f"{path}?{urlencode(fields)}"


def _check(client: Client, job: str, row_id: str, distance: str, position: str, **more: str) -> Any:  # noqa: ANN401
    sent = {"lens": lens_key(client, job, row_id), "distance": distance, "position": position, "date": DAY, **more}
    return client.post(f"/api/jobs/{job}/morning", sent)


def _positions(server: Served) -> list[float]:
    """Where the rings stood on the morning of the test."""
    return [one.position for one in open_job(server.book, JOB).job.morning if one.date == DAY]


def _new_job(client: Client) -> str:
    """The key of a job that says nothing of weather, without lenses."""
    return str(client.post("/api/jobs", {"name": "Harbour", "units": "metric"}).json["key"])


# --- into other air ----------------------------------------------------------------------------------------------


def test_dew_is_that_of_the_command(laptop: Client) -> None:
    """In the shape of ``tapehook dew --json``, its figures too; a second reading gives its own times."""
    job = job_key(laptop)
    found = laptop.get(_asked(f"/api/jobs/{job}/dew", **COLD)).json
    assert list(misfits(found, schema("dew"))) == []
    assert found["dew_point_c"] == pytest.approx(check_dew(22.0, 0.5, -5.0).dew_c)
    later = laptop.get(_asked(f"/api/jobs/{job}/dew", **COLD, later="6 °C", after="15 min")).json
    assert later["time_constant_measured"]
    assert later["time_constant_min"] == pytest.approx(15.0 / 0.5232, rel=1e-3), "15/ln(27/16), by hand"


@pytest.mark.parametrize(
    "typed, degrees",
    [({"air": "22", "lens": "-5"}, "c"), ({"air": "71.6", "lens": "23"}, "f"), ({"air": "22C", "lens": "23 °F"}, "f")],
)
def test_bare_temperatures_are_in_the_degrees_chosen(laptop: Client, typed: dict[str, str], degrees: str) -> None:
    """A unit that is written goes before the switch; a bare humidity over 1 is per cent."""
    found = laptop.get(_asked(f"/api/jobs/{job_key(laptop)}/dew", **typed, humidity="50", degrees=degrees)).json
    assert (found["air_c"], found["lens_c"], found["humidity"]) == pytest.approx((22.0, -5.0, 0.5))


def test_the_switch_of_degrees_follows_the_region(server: Served, laptop: Client) -> None:
    """The demo job measures in feet, in GB: a bare 5 must not pass for 5 °F. A job in feet that names no region is
    taken to be where both are used."""
    page = laptop.get(f"/job/{job_key(laptop)}/weather").text
    assert set(re.findall(r'name="degrees" value="(.)" checked', page)) == {"c"}
    own = Client(server.app)
    own.get("/")
    for units, degrees in (("imperial", "f"), ("metric", "c")):
        job = own.post("/api/jobs", {"name": units, "units": units}).json["key"]
        page = own.get(f"/job/{job}/weather").text
        assert set(re.findall(r'name="degrees" value="(.)" checked', page)) == {degrees}, units


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"air": "warm"}, "air: "),
        ({"air": "60 °C"}, "expected at most 50"),
        ({"humidity": "150 %"}, "humidity: "),
        ({"lens": ""}, "lenses come from: "),
        ({"later": "6 °C"}, "after: "),
        ({"after": "15"}, "barrel later: "),
        ({"later": "30 °C", "after": "15"}, "a temperature between"),
        ({"later": "6 °C", "after": "15", "time_constant": "30"}, "either a time constant"),
        ({"after": "soon", "later": "6 °C"}, "minutes from"),
    ],
)
def test_what_cannot_be_read_is_said(laptop: Client, changes: dict[str, str], words: str) -> None:
    """On the page in its place, in the interface as a problem, and nothing is kept."""
    job = job_key(laptop)
    fields = {**COLD, **changes}
    part = laptop.get(_asked(f"/part/weather/{job}", **fields)).json["parts"]["air"]
    assert 'role="alert"' in part
    assert words in part
    answer = laptop.get(_asked(f"/api/jobs/{job}/dew", **fields))
    assert answer.status == 422
    assert list(misfits(answer.json, schema("problems"))) == []
    assert laptop.post(f"/api/jobs/{job}/weather", fields).status == 422


def test_weather_is_kept_shown_found_and_taken_back(server: Served, client: Client) -> None:
    """Kept, it is in the job, on the page again, and among the findings; what was there before comes back."""
    job = job_key(client)
    kept = client.post(f"/api/jobs/{job}/weather", {**COLD, "degrees": "c"})
    assert kept.status == 200, kept.text
    weather = open_job(server.book, JOB).job.weather
    assert weather is not None
    assert (weather.air_c, weather.humidity_percent, weather.lenses_from_c) == (22.0, 50.0, -5.0)
    found = [one for one in client.get(f"/api/jobs/{job}/prep").json["findings"] if one["code"] == "weather.fogs"]
    assert ["-5 °C fog" in one["message"] for one in found] == [True]
    page = client.get(f"/job/{job}/weather").text
    assert 'name="lens" value="-5 °C"' in page
    assert "clear after 30 min" in page
    assert client.get(f"/api/jobs/{job}/dew").json["fogs"]
    gone = client.post(f"/api/jobs/{job}/weather", {})
    assert open_job(server.book, JOB).job.weather is None
    back = client.post(f"/api/jobs/{job}/weather", gone.json["before"])
    assert back.status == 200
    assert open_job(server.book, JOB).job.weather == weather


def test_without_weather_the_page_asks_for_it(server: Served) -> None:
    """Nothing is judged, nothing is wrong; the interface says what is missing, and that nobody checked a lens."""
    client = Client(server.app)
    client.get("/help")
    job = _new_job(client)
    page = client.get(f"/job/{job}/weather").text
    assert "Type air, humidity" in page
    assert "No lens has a map" in page
    assert client.get(f"/api/jobs/{job}/dew").status == 422
    assert client.get(f"/api/jobs/{job}/morning").status == 404
    assert client.get(f"/job/{NOBODY}/weather").status == 404


TEXTS = st.text(max_size=10) | st.sampled_from(["22", "22 °C", "-5F", "50 %", "0", "inf", "nan", "1e9", "15min"])


@settings(max_examples=60)
@given(
    fields=st.fixed_dictionaries(dict.fromkeys(("air", "humidity", "lens", "time_constant", "later", "after"), TEXTS))
)
def test_whatever_is_typed_is_answered(demo_server: Served, fields: dict[str, str]) -> None:
    """Any text in any field: an answer or words, never a failure."""
    client = Client(demo_server.app)
    client.get("/help")
    sent = urlencode({name: text.encode("utf-8", "replace") for name, text in fields.items()})
    assert client.get(f"/part/weather/{job_key(client)}?{sent}").status in {200, 422}


# --- the morning check -------------------------------------------------------------------------------------------


def test_three_lenses_tell_for_the_kit(server: Served, client: Client) -> None:
    """Kept like readings, judged as the command does, each on the page with its share and where the sensor lay."""
    job = job_key(client)
    for at, (row_id, distance, position) in enumerate(CHECKS):
        answer = _check(client, job, row_id, distance, position, approach="near_to_far")
        assert answer.status == 200, answer.text
        found = client.get(f"/api/jobs/{job}/morning").json
        assert list(misfits(found, schema("morning"))) == []
        assert (found["kit"] is None) == (at < 2), "three tell, fewer say how many more"
    assert _positions(server) == [4.9, 66.3, 3.2]
    page = client.get(f"/job/{job}/weather").text
    assert f"Morning of {DAY}" in page
    assert "3 checks of other mornings are kept." in page
    assert page.count("as if the sensor lay") == 3
    assert found["finding"]["message"].partition(": ")[2][:30] in page
    bench = client.get(f"/job/{job}/bench/{lens_key(client, job, 'L05')}").text
    assert "Checked in the morning" in bench


def test_a_check_is_withdrawn_and_undone(server: Served, client: Client) -> None:
    """Step by step: a withdrawn check comes back, then the last one typed goes, then the one before it."""
    job = job_key(client)
    for row_id, distance, position in CHECKS[:2]:
        _check(client, job, row_id, distance, position)
    key = re.findall(r'data-id="([0-9a-f]{32})"', client.get(f"/job/{job}/weather").text)[0]
    assert client.post(f"/api/jobs/{job}/morning/withdraw", {"id": key}).status == 200
    assert _positions(server) == [66.3]
    assert client.post(f"/api/jobs/{job}/morning/withdraw", {"id": key}).status == 404
    assert "counts again" in client.post(f"/api/jobs/{job}/morning/undo").json["said"]
    assert sorted(_positions(server)) == [4.9, 66.3]
    assert client.post(f"/api/jobs/{job}/morning/undo").status == 200
    assert _positions(server) == [4.9]
    assert client.post(f"/api/jobs/{job}/morning/undo").status == 200
    assert _positions(server) == []
    assert client.post(f"/api/jobs/{job}/morning/undo").status == 404


def test_undo_on_one_lens_leaves_the_undo_of_another_alone(server: Served, client: Client) -> None:
    """Two lenses typed, the first undone at the bench, then the second: both are gone, none is out of reach."""
    job = job_key(client)
    count = len(open_job(server.book, JOB).job.readings)
    lenses = [lens_key(client, job, row_id) for row_id in ("L03", "L05")]
    for lens in lenses:
        sent = {"distance": "7'", "position": "100"}
        assert client.post(f"/api/jobs/{job}/bench/{lens}/readings", sent).status == 200
    for lens in lenses:
        assert client.post(f"/api/jobs/{job}/bench/{lens}/undo").status == 200
    assert len(open_job(server.book, JOB).job.readings) == count


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"distance": "near"}, "chart at"),
        ({"position": "there"}, "sharp at"),
        ({"temperature": "cold"}, "temperature"),
        ({"date": "yesterday"}, "date"),
        ({"position": "1e300"}, "position"),
    ],
)
def test_a_check_that_cannot_be_read_is_not_kept(
    server: Served, client: Client, changes: dict[str, str], words: str
) -> None:
    """Said by its field; the job is as it was."""
    job = job_key(client)
    answer = _check(client, job, "L03", **{"distance": "5 m", "position": "66", **changes})
    assert answer.status == 422
    assert words in answer.text
    assert _positions(server) == []


def test_a_check_that_says_nothing_says_why(client: Client) -> None:
    """On a lens without a map, or nearer than its map: kept, and told beside it."""
    job = job_key(client)
    _check(client, job, "L21", "5 m", "66")
    _check(client, job, "L05", "30 cm", "66")
    page = client.get(f"/part/morning/{job}").json["parts"]["morning"]
    assert "a lens with a focus map" in page
    assert "no nearer than its map begins" in page


def test_the_same_check_sent_twice_is_one(server: Served, client: Client) -> None:
    """As after a cut of the network."""
    job = job_key(client)
    for _ in range(2):
        assert _check(client, job, "L03", "5 m", "66", sent="once").status == 200
    assert _positions(server) == [66.0]


def test_a_viewer_sees_and_does_not_write(viewer: Client) -> None:
    """The fields of the air are there to try; whatever keeps, checks, withdraws or undoes is not."""
    page = viewer.get(f"/job/{job_key(viewer)}/weather").text
    assert 'name="humidity"' in page
    for gone in ('id="check"', 'id="take-out"', "keep in the job", "withdraw", "/undo"):
        assert gone not in page


def test_typed_text_stays_text(client: Client) -> None:
    """Whatever is typed is shown as text."""
    job = job_key(client)
    part = client.get(_asked(f"/part/weather/{job}", **{**COLD, "air": "<script>alert(1)</script>"}))
    assert "<script>" not in part.json["parts"]["air"]
    assert _check(client, job, "L03", "<b>5</b> m", "66").status == 422
