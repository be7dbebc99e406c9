"""`job.toml`: all keys, what is wrong told by key, and unknown keys kept at every level."""

import tomllib

import pytest

from tapehook.job import Camera, Criterion, Job, Motor, Problem, Radio, Weather
from tapehook.job.tomlfile import read_job_toml, write_job_toml

ALL = """\
title = "Harbour"
region = "GB"
units = "imperial"
shooting_stop = "T2.8 1/3"
paper = "us-letter"
unit_no = 2

[criterion]
name = "viewing"
picture_heights = 3
arcminutes = 1.0
why = "the DP said so"

[[cameras]]
letter = "A"
name = "A body"
sensor_width_mm = 24.89
sensor_height_mm = 18.66
photosite_um = 6.5
colour = "red"
plate = { thickness_mm = 2.5 }

[[motors]]
id = "M1"
camera = "A"
axis = "extra"
lag_ms = 21

[[radios]]
id = "R1"
camera = "A"
power_mw = [10, 100]

[catering]
morning = "tea"
"""


def problems(text: str | bytes) -> list[str]:
    """What is wrong with a file."""
    found: list[Problem] = []
    job = read_job_toml(text.encode() if isinstance(text, str) else text, found)
    assert (job is None) == bool(found)
    return [problem.sentence() for problem in found]


def read(text: str) -> Job:
    """The job in a sound file."""
    found: list[Problem] = []
    job = read_job_toml(text.encode(), found)
    assert job is not None, found
    return job


def test_all_keys_are_read() -> None:
    """Each key in its field, whole numbers as numbers, unknown keys of every table under ``extra``."""
    assert read(ALL) == Job(
        title="Harbour",
        region="GB",
        units="imperial",
        shooting_stop="T2.8 1/3",
        paper="us-letter",
        criterion=Criterion(name="viewing", picture_heights=3.0, arcminutes=1.0, extra={"why": "the DP said so"}),
        cameras=(
            Camera(
                letter="A",
                name="A body",
                sensor_width_mm=24.89,
                sensor_height_mm=18.66,
                photosite_um=6.5,
                colour="red",
                extra={"plate": {"thickness_mm": 2.5}},
            ),
        ),
        motors=(Motor(id="M1", camera="A", axis="extra", lag_ms=21.0),),
        radios=(Radio(id="R1", camera="A", extra={"power_mw": [10, 100]}),),
        extra={"unit_no": 2, "catering": {"morning": "tea"}},
    )


def test_all_keys_are_written_back() -> None:
    """The text differs, what it says does not; writing what was read of it changes nothing more."""
    written = write_job_toml(read(ALL))

    assert tomllib.loads(written) == tomllib.loads(ALL)
    assert write_job_toml(read(written)) == written


def test_what_was_not_said_is_not_written() -> None:
    """An empty file stays empty; what was said stays, even where it is what is assumed anyway."""
    assert write_job_toml(read("")) == ""
    assert write_job_toml(read('units = "metric"\n[criterion]\nname = "fixed"\n')) == (
        'units = "metric"\n\n[criterion]\nname = "fixed"\n'
    )


def test_feet_are_imperial() -> None:
    """The word people use for it."""
    assert read('units = "feet"').units == "imperial"


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_byte_order_mark_does_not_matter(mark: bytes) -> None:
    """Some editors put one."""
    assert problems(mark + b'title = "x"\r\n') == []


@pytest.mark.parametrize(
    "text, sentence",
    [
        ("title = 5", 'job.toml, title: read "5", expected text such as "Harbour, unit 1"'),
        ('title = "a\\nb"', 'job.toml, title: read "a\\nb", expected text such as "Harbour, unit 1", on one line'),
        ("units = 'yards'", 'job.toml, units: read "yards", expected one of "metric", "imperial", "feet"'),
        ("paper = true", 'job.toml, paper: read "true", expected one of "a4", "us-letter"'),
        ("shooting_stop = 2.8", 'job.toml, shooting_stop: read "2.8", expected text such as "T2.8"'),
        ("shooting_stop = 'wide'", 'job.toml, shooting_stop: read "wide", expected a T-stop such as "T2.8"'),
        ("shooting_stop = 'f/2.8'", 'job.toml, shooting_stop: read "f/2.8", expected a T-stop such as "T2.8"'),
        ("criterion = 'fixed'", 'job.toml, criterion: read "fixed", expected a table headed [criterion]'),
        (
            "[criterion]\ncoc_mm = '0.025'",
            'job.toml, criterion.coc_mm: read "0.025", expected a number such as 0.025',
        ),
        (
            "[criterion]\ncoc_mm = 0",
            'job.toml, criterion.coc_mm: read "0", expected a number such as 0.025, at least 0.000001',
        ),
        (
            "[criterion]\ncoc_mm = 25",
            'job.toml, criterion.coc_mm: read "25", expected a number such as 0.025, at most 1',
        ),
        (
            "[criterion]\ncoc_mm = nan",
            'job.toml, criterion.coc_mm: read "nan", expected a number such as 0.025',
        ),
        ("cameras = 'A'", 'job.toml, cameras: read "A", expected tables headed [[cameras]]'),
        ("cameras = ['A']", 'job.toml, cameras[1]: read "A", expected a table headed [[cameras]]'),
        ("[cameras]\nletter = 'A'", 'job.toml, cameras: read "a table", expected tables headed [[cameras]]'),
        ("[[cameras]]\n", 'job.toml, cameras[1].letter: expected text such as "A"'),
        ("[[cameras]]\nletter = 'A B'", 'job.toml, cameras[1].letter: read "A B", expected text such as "A"'),
        (
            "[[motors]]\nid = 'M1'\n[[motors]]\nid = 'M2'\nlag_ms = -1",
            'job.toml, motors[2].lag_ms: read "-1", expected a number such as 21.0, at least 0',
        ),
        ("[[motors]]\nid = []", 'job.toml, motors[1].id: read "a list", expected text such as "M1"'),
        (
            "[[radios]]\nid = 'R'\n[[radios]]\nid = 'R'",
            'job.toml, radios[2].id: read "R", expected a name of its own; radios[1] has this one',
        ),
        ("big = 0xFFFFFFFFFFFFFFFF", "job.toml, big: expected a whole number of at most 64 bits"),
        ("a.b = [1, 99999999999999999999]", "job.toml, a.b[2]: expected a whole number of at most 64 bits"),
    ],
)
def test_what_is_wrong_is_told_by_key(text: str, sentence: str) -> None:
    """The key as people point at it, lists counted from one, what was read, what was expected."""
    assert problems(text) == [sentence]


@pytest.mark.parametrize(
    "text, row, read",
    [("title = \n", 1, "title ="), ("a = 1\n\nb c\n", 3, "b c"), ("a = 1\na = 2", 2, "a = 2"), ('a = "x', 1, 'a = "x')],
)
def test_what_is_no_toml_is_told_by_line(text: str, row: int, read: str) -> None:
    """With the line itself, so that nobody has to count."""
    found = problems(text)

    assert len(found) == 1
    wanted = 'a key and what it holds, such as title = "Harbour, unit 1" (TOML: '
    assert found[0].startswith(f'job.toml row {row}: read "{read}", expected {wanted}')


def test_all_problems_of_the_file_are_told() -> None:
    """Types, stops and limits together."""
    assert len(problems('title = 1\nshooting_stop = "x"\npaper = "a3"\n[criterion]\nname = 2\n')) == 4


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 5_000,
        "a = " + "[" * 60 + "]" * 60,
        "a." * 5_000 + "b = 1",
        "a = " + "9" * 5_000,
        "a = 1\0",
        "\ud800",
    ],
    ids=["open lists", "deep lists", "deep keys", "digits", "nul", "surrogate"],
)
def test_hostile_files_are_problems(text: str) -> None:
    """Nesting and numbers without end, and bytes that are no text: no exception gets out."""
    assert len(problems(text.encode("utf-8", "surrogatepass"))) == 1


FILTERS = """\
[[filters]]
id = "N6"
density = 0.6
count = 2
colour = "a little warm"

[[filters]]
id = "P"
kind = "pair"
k0 = 0.32
k90 = 0.00005

[[filters]]
id = "V"
kind = "variable"
positions_deg = [0, 20, 40, 60]
densities = [0.3, 0.5, 0.9, 1.4]
"""


def test_filters_are_kept_and_written_back() -> None:
    """A tray with an ND, a pair of polarisers and a measured variable filter, there and back."""
    job = read_job_toml(FILTERS.encode(), [])
    assert job is not None
    assert [(one.id, one.kind, one.count) for one in job.filters] == [
        ("N6", "nd", 2),
        ("P", "pair", 1),
        ("V", "variable", 1),
    ]
    assert job.filters[2].positions_deg == [0.0, 20.0, 40.0, 60.0]
    assert read_job_toml(write_job_toml(job).encode(), []) == job


@pytest.mark.parametrize(
    "text, said",
    [
        ('[[filters]]\nid = "P"\nkind = "pair"\nk0 = 0.3', "filters[1].k0: read"),
        ('[[filters]]\nid = "P"\nkind = "pair"\nk0 = 0.3\nk90 = 0.4', "k90 the smaller"),
        ('[[filters]]\nid = "C"\nkind = "close_up"', "filters[1].power_dpt: expected its power in dioptres"),
        (
            '[[filters]]\nid = "V"\nkind = "variable"\npositions_deg = [1, 2]\ndensities = [0.1]',
            "one length, 4 or more",
        ),
        (
            '[[filters]]\nid = "V"\nkind = "variable"\npositions_deg = [1, 2, 2, 3]\ndensities = [0.1, 0.2, 0.2, 0.3]',
            "each position once",
        ),
        ('[[filters]]\nid = "V"\npositions_deg = "many"', "a list of numbers such as"),
        ('[[filters]]\nid = "V"\ncount = 1.5', "a whole number such as 1"),
        ('[[filters]]\nid = "V"\n[[filters]]\nid = "V"', "a name of its own"),
    ],
)
def test_half_said_filters_are_refused(text: str, said: str) -> None:
    """Each kind has its figures, and they go together."""
    assert said in " ".join(problems(text))


WEATHER = "[weather]\nair_c = 22\nhumidity_percent = 50.0\nlenses_from_c = -5.0\n"


def test_the_weather_goes_round() -> None:
    """A table of its own, further keys kept; what was not said is not written."""
    text = WEATHER + 'wind = "none"\n'
    job = read(text)
    assert job.weather == Weather(air_c=22.0, humidity_percent=50.0, lenses_from_c=-5.0, extra={"wind": "none"})
    assert tomllib.loads(write_job_toml(job)) == tomllib.loads(text)
    assert read("").weather is None


@pytest.mark.parametrize(
    "text, said",
    [
        ("[weather]\nair_c = 22\nlenses_from_c = -5\n", "weather.humidity_percent: expected a number such as 50.0"),
        (WEATHER.replace("22", "60"), 'weather.air_c: read "60", expected a number such as 22.0, at most 50'),
        (WEATHER.replace("50.0", "0.5e3"), 'weather.humidity_percent: read "500.0", expected a number such as 50.0'),
        ("weather = 22\n", 'weather: read "22", expected a table headed [weather]'),
        (WEATHER + "later_c = 6\n", "weather.later_min: expected both later_c and later_min, or neither"),
        (
            WEATHER + "later_c = -7\nlater_min = 15\n",
            'weather.later_c: read "-7.0", expected a temperature between lenses_from_c and air_c',
        ),
        (
            WEATHER + "later_c = 6\nlater_min = 15\ntime_constant_min = 20\n",
            "expected either a time constant or what a barrel showed later",
        ),
    ],
)
def test_weather_that_cannot_be_is_refused(text: str, said: str) -> None:
    """The key, what was read and what was expected; nothing that the formula cannot take comes through."""
    assert any(said in problem for problem in problems(text)), problems(text)
