"""Whole folders: what is valid, what is refused, and that all that is wrong is said at once."""

import math
import subprocess
import sys
from pathlib import Path

import pytest

from tapehook.job import Job, JobProblems, read_job

READINGS = "lens_id,distance_m,position\n"


def folder(path: Path, **files: str) -> Path:
    """A job folder: ``lenses``, ``readings`` and ``charts`` as CSV text, ``job`` as TOML; a lens L1 when not said."""
    texts = {"lenses": "id\nL1\n", "readings": READINGS, **files}
    for name, text in texts.items():
        (path / (f"{name}.toml" if name == "job" else f"{name}.csv")).write_text(text, encoding="utf-8")
    return path


def problems(path: Path, **files: str) -> list[str]:
    """The sentences of all that is wrong with a folder."""
    with pytest.raises(JobProblems) as caught:
        read_job(folder(path, **files))
    return [problem.sentence() for problem in caught.value.problems]


def job(path: Path, **files: str) -> Job:
    """The job in a folder."""
    return read_job(folder(path, **files))


# --- which files ------------------------------------------------------------------------------------------------


def test_lenses_and_readings_are_a_job(tmp_path: Path) -> None:
    """Two tables, without a row if need be, and nothing is made up: fields nobody filled in are None."""
    read = job(tmp_path, lenses="id\nL1\n", readings=READINGS + "L1,1.5,12\n")

    assert (read.title, read.units, read.charts) == ("Untitled job", "metric", ())
    assert (read.lenses[0].focal_mm, read.lenses[0].t_stop, read.lenses[0].unit) == (None, None, "deg")
    assert (
        read.readings[0].value,
        read.readings[0].position,
        read.readings[0].axis,
        read.readings[0].written,
    ) == (1.5, 12.0, "focus", None)
    assert (read.lenses[0].row, read.readings[0].row) == (2, 2)


def test_other_files_are_left_alone(tmp_path: Path) -> None:
    """Shots, photographs and remains of a spreadsheet program do not matter."""
    folder(tmp_path)
    (tmp_path / "shots").mkdir()
    (tmp_path / "shots" / "1.toml").write_text("not = [toml", encoding="utf-8")
    (tmp_path / "~$lenses.xlsx").write_bytes(b"\0")

    assert len(read_job(tmp_path).lenses) == 1


def test_missing_tables_are_named(tmp_path: Path) -> None:
    """Both at once, and a file that is nearly it."""
    (tmp_path / "lenses.ods").write_bytes(b"")
    with pytest.raises(JobProblems) as caught:
        read_job(tmp_path)

    assert str(caught.value).splitlines() == [
        "lenses.csv: expected this file, or lenses.xlsx, in the folder; lenses.ods is no such file: save or rename it",
        "readings.csv: expected this file, or readings.xlsx, in the folder",
    ]


def test_a_table_that_is_there_twice_is_refused(tmp_path: Path) -> None:
    """Nobody can tell which of them was edited last on purpose."""
    (tmp_path / "lenses.xlsx").write_bytes(b"")

    assert any("lenses.csv and lenses.xlsx" in sentence for sentence in problems(tmp_path))


@pytest.mark.parametrize("name", ["nowhere", "lenses.csv", "loop", "a\0b", "x" * 300])
def test_what_is_no_folder_is_one_problem(name: str, tmp_path: Path) -> None:
    """Missing, a file, a link to itself, no name at all, a name too long."""
    folder(tmp_path)
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(JobProblems) as caught:
        read_job(tmp_path / name)

    assert len(caught.value.problems) == 1
    assert "expected a job folder (" in str(caught.value)


def test_a_folder_named_as_a_file_is_said_to_be_one(tmp_path: Path) -> None:
    """And the other tables are read all the same."""
    folder(tmp_path, readings=READINGS + "L1,x,12\n")
    (tmp_path / "lenses.csv").unlink()
    (tmp_path / "lenses.csv").mkdir()
    with pytest.raises(JobProblems) as caught:
        read_job(tmp_path)

    assert [(p.file, p.row) for p in caught.value.problems] == [("lenses.csv", None), ("readings.csv", 2)]


def test_an_empty_table_wants_a_header(tmp_path: Path) -> None:
    """A file of no bytes, or of blank rows."""
    assert problems(tmp_path, lenses="\n,,\n") == [
        "lenses.csv: expected a header row with the names of the columns; the table is empty"
    ]


# --- all at once --------------------------------------------------------------------------------------------------


def test_all_problems_are_told_at_once(tmp_path: Path) -> None:
    """One of each file, in the order of the files and rows."""
    found = problems(
        tmp_path,
        job='title = 5\nshooting_stop = "f/2"\n',
        lenses="id,t_stop,unit\nL1,T1.3,deg\nL2,5O,count\nL2,2.8,inch\n",
        readings=READINGS + "L1,1.5,12O.5\nL01,2,13\nL2,,-5\n",
        charts="lens_id,chart_distance\nL1,5 6\n",
    )

    assert found == [
        'job.toml, title: read "5", expected text such as "Harbour, unit 1"',
        'job.toml, shooting_stop: read "f/2", expected a T-stop such as "T2.8"',
        'lenses.csv row 3, t_stop: read "5O", expected a T-stop such as T2.8',
        'lenses.csv row 4, unit: read "inch", expected "deg", "count", "percent" or "mm"',
        'lenses.csv row 4, id: read "L2", expected an id of its own; row 3 has this one',
        'readings.csv row 2, position: read "12O.5", expected a number of degrees such as 131.8',
        'readings.csv row 3, lens_id: read "L01", expected the id of a lens of the job; the nearest is "L1"',
        "readings.csv row 4, distance_m: empty, expected a distance such as 1.68 m or 5'6\"",
        (
            'charts.csv row 2, chart_distance: read "5 6", expected a distance such as 1.68 m or 5\'6"; '
            "it could mean 5'6\" or 5.6 m or 5.6 ft"
        ),
    ]


def test_a_lens_with_a_problem_is_known_to_the_readings(tmp_path: Path) -> None:
    """One mistake in the lens table does not make all readings of the lens wrong too."""
    assert problems(tmp_path, lenses="id,t_stop\nL1,x\n", readings=READINGS + "L1,1.5,12\n") == [
        'lenses.csv row 2, t_stop: read "x", expected a T-stop such as T2.8'
    ]


def test_unknown_ids_say_nothing_when_the_lens_table_broke_off(tmp_path: Path) -> None:
    """Rows after a quote that does not close were not read; their lenses may well be there."""
    found = problems(tmp_path, lenses='id\nL1\n"L2\n', readings=READINGS + "L2,1.5,12\n")

    assert len(found) == 1
    assert "quotes that close" in found[0]


# --- headers ------------------------------------------------------------------------------------------------------


def test_headers_are_read_leniently(tmp_path: Path) -> None:
    """As people write them, and blank columns at the end."""
    read = job(
        tmp_path, lenses="ID,Focal (mm),T-Stop,,\nL1,50,T1.3,,\n", readings="Lens ID,Distance (m),POSITION\nL1,2,3\n"
    )

    assert (read.lenses[0].focal_mm, read.lenses[0].t_stop) == (50.0, 1.3)
    assert read.column_order["lenses"] == ("ID", "Focal (mm)", "T-Stop")


def test_headers_that_lack_or_double_are_told(tmp_path: Path) -> None:
    """A needed column that is missing, with the one that may be meant; one that stands twice."""
    found = problems(tmp_path, lenses="id,note,Note\nL1,a,b\n", readings="lens_id,distance_m,position_deg\nL1,1,2\n")

    assert found == [
        'lenses.csv row 1: read "Note", expected each column once; note is there already',
        'readings.csv row 1: expected a column position; "position_deg" may be meant to be it',
    ]


def test_unknown_columns_are_kept(tmp_path: Path) -> None:
    """Text as it stands, blanks left out."""
    read = job(tmp_path, lenses="id,colour,shelf\nL1, red ,\n")

    assert read.lenses[0].extra == {"colour": " red "}
    assert read.column_order["lenses"] == ("id", "colour", "shelf")


def test_cells_beyond_the_header_are_one_problem_a_row(tmp_path: Path) -> None:
    """Nearly always a comma that wanted quotes."""
    found = problems(tmp_path, readings=READINGS + "L1,1,5,2,5\n")

    assert len(found) == 1
    assert 'readings.csv row 2, column 4: read "2", expected at most 3 cells' in found[0]
    assert '"1,68 m"' in found[0]


def test_cells_under_no_header_are_told(tmp_path: Path) -> None:
    """A column somebody forgot to name."""
    assert (problems(tmp_path, lenses="id,,note\nL1,50,x\n")) == [
        'lenses.csv row 2, column 2: read "50", expected nothing in a column without a name; give it a header'
    ]


# --- numbers ------------------------------------------------------------------------------------------------------


def test_decimal_commas(tmp_path: Path) -> None:
    """With semicolons any lone comma is a decimal mark, thousands or not; with commas in quotes."""
    with_semicolons = job(
        tmp_path, lenses="id;t_stop\nL1;1,3\n", readings="lens_id;distance_m;position\nL1;1,680;12,034\n"
    )
    with_commas = job(tmp_path, readings='lens_id,distance_text,position\nL1,"1,68 m","131,8"\n')

    assert (
        with_semicolons.lenses[0].t_stop,
        with_semicolons.readings[0].value,
        with_semicolons.readings[0].position,
    ) == (1.3, 1.68, 12.034)
    assert (with_commas.readings[0].value, with_commas.readings[0].position) == (1.68, 131.8)


def test_what_could_part_thousands_is_refused(tmp_path: Path) -> None:
    """Twelve or twelve thousand: both readings are named."""
    with_comma = problems(tmp_path, readings=READINGS + 'L1,2,"12,034"\n')
    with_point = problems(tmp_path, readings="lens_id;distance_m;position\nL1;2;12.034\n")

    assert ["could mean 12.034 or 12034" in sentence for sentence in with_comma] == [True]
    assert ["could mean 12,034 or 12034" in sentence for sentence in with_point] == [True]


def test_points_may_be_decimal_with_semicolons(tmp_path: Path) -> None:
    """Other cells of the file show it."""
    read = job(tmp_path, readings="lens_id;distance_m;position\nL1;2.55;12.034\nL1;3,5;13,034\n")

    assert [(reading.value, reading.position) for reading in read.readings] == [(2.55, 12.034), (3.5, 13.034)]


@pytest.mark.parametrize(
    "unit, text, position",
    [
        ("deg", "131.8°", 131.8),
        ("deg", "12° 30'", 12.5),
        ("count", "25551", 25551),
        ("percent", "45.2 %", 45.2),
        ("mm", "13.5 mm", 13.5),
    ],
)
def test_positions_may_carry_the_unit_of_their_lens(unit: str, text: str, position: float, tmp_path: Path) -> None:
    """By hand: 12° 30' is 12.5°; all others are as written."""
    read = job(tmp_path, lenses=f"id,unit\nL1,{unit}\n", readings=READINGS + f"L1,2,{text}\n")

    assert position == read.readings[0].position


def test_another_unit_is_refused_with_the_one_expected(tmp_path: Path) -> None:
    """A percentage on a lens read in counts."""
    assert problems(tmp_path, lenses="id,unit\nL1,count\n", readings=READINGS + "L1,2,45 %\n") == [
        'readings.csv row 2, position: read "45 %", expected a number of counts such as 25551'
    ]


@pytest.mark.parametrize(
    "header, cell, words",
    [
        ("focal_mm", "0.05", "at least 1"),
        ("focal_mm", "50000", "at most 10,000"),
        ("t_stop", "0", "at least 0.5"),
        ("t_stop", "150", "at most 128"),
        ("blur_floor_mm", "10", "at most 1"),
        ("t_stop", "f/2", "a T-stop"),
        ("transmission", "1.5", "at most 1"),
        ("transmission", "0", "more than 0"),
        ("transmission", "150 %", "0.85 or 85 %"),
        ("close_focus_m", "inf", "at most 1,000,000"),
        ("reading_step", "-1", "at least 0.000001"),
        ("units_per_turn", "nan", "a number such as 360"),
        ("id", "L" * 81, "at most 80 characters"),
        ("twin_of", "L1", "the id of another lens"),
        ("twin_of", "L7", "the id of a lens of the job"),
    ],
)
def test_values_beyond_their_limits_are_told(header: str, cell: str, words: str, tmp_path: Path) -> None:
    """The limit stands in the message."""
    lenses = f"id\n{cell}\n" if header == "id" else f"id,{header}\nL1,{cell}\n"
    found = problems(tmp_path, lenses=lenses, readings=READINGS)

    assert len(found) == 1
    assert f"lenses.csv row 2, {header}: read" in found[0]
    assert words in found[0]


# --- lenses -------------------------------------------------------------------------------------------------------


def test_all_columns_of_a_lens(tmp_path: Path) -> None:
    """With units where people write them; by hand 1'9" is 0.5334 m, and a thousandth of an inch 0.0254 mm."""
    text = (
        "id,kind,focal_mm,focal_min_mm,t_stop,transmission,rises_toward,engraved_in,unit,reading_step,twin_of,close_focus_m,"
        "units_per_turn,serial,model,camera,pupil_to_sensor_mm,pupil_magnification,blur_floor_mm,note\n"
        'L1,ZOOM,75 mm,24,T2.8,85 %,Near,ft,degrees,0.1°,L2,"1\'9""",360,4711,Harbour 24-75,"B, A",-4.1 cm,1.15,'
        '"1/1000""","loose\ngear"\nL2\n'
    )
    lens = job(tmp_path, lenses=text).lenses[0]

    assert (
        lens.kind, lens.focal_mm, lens.focal_min_mm, lens.t_stop, lens.transmission, lens.rises_toward,
        lens.engraved_in, lens.unit, lens.reading_step, lens.twin_of,
    ) == ("zoom", 75, 24, 2.8, 0.85, "near", "feet", "deg", 0.1, "L2")  # fmt: skip
    assert (
        lens.close_focus_m, lens.units_per_turn, lens.serial, lens.model, lens.camera, lens.pupil_to_sensor_mm,
        lens.pupil_magnification, lens.blur_floor_mm, lens.note,
    ) == (0.5334, 360, "4711", "Harbour 24-75", "B A", -41, 1.15, 0.0254, "loose\ngear")  # fmt: skip


def test_both_ends_of_a_zoom_in_one_cell(tmp_path: Path) -> None:
    """It is a zoom then, said or not."""
    lens = job(tmp_path, lenses="id,focal_mm\nL1,24-75 mm\n").lenses[0]

    assert (lens.kind, lens.focal_min_mm, lens.focal_mm) == ("zoom", 24, 75)


@pytest.mark.parametrize(
    "row, words",
    [
        ("L1,prime,75,24", 'kind: read "prime", expected zoom, as the lens has a wide end of 24 mm'),
        ("L1,zoom,24,75", 'focal_min_mm: read "75", expected the wide end, not above focal_mm, which says 24 mm'),
        ("L1,,24-75 mm,28", 'focal_min_mm: read "28", expected the same wide end as focal_mm, which says 24 mm'),
    ],
)
def test_ends_of_a_zoom_that_contradict(row: str, words: str, tmp_path: Path) -> None:
    """A prime with two ends, ends the wrong way round, two wide ends."""
    assert [f"lenses.csv row 2, {words}"] == problems(tmp_path, lenses=f"id,kind,focal_mm,focal_min_mm\n{row}\n")


# --- readings -----------------------------------------------------------------------------------------------------

BOTH = "lens_id,mark_no,distance_text,distance_m,position\n"


def test_the_distance_in_metres_counts(tmp_path: Path) -> None:
    """The text is kept as it was written; it agrees to 1 % or 5 mm, or says nothing that can be read."""
    rows = "L1,,5'6\",1.68,1\nL1,,0.1 m,0.1049,2\nL1,,by the door,3,3\nL1,,inf,inf,4\n"
    read = job(tmp_path, readings=BOTH + rows).readings

    assert [(1.68, "5'6\""), (0.1049, "0.1 m"), (3, "by the door"), (math.inf, "inf")] == [
        (reading.value, reading.written) for reading in read
    ]


@pytest.mark.parametrize("text, metres", [("5'6\"", "1.7"), ("0.1 m", "0.106"), ("inf", "100"), ("10 m", "inf")])
def test_distances_that_disagree_are_told(text: str, metres: str, tmp_path: Path) -> None:
    """By hand: 5'6" is 1.6764 m, 1.4 % less than 1.7 m; 0.106 m is 6 mm from 0.1 m."""
    found = problems(tmp_path, readings=BOTH + f"L1,,{text},{metres},1\n")

    assert len(found) == 1
    assert f'readings.csv row 2, distance_text: read "{text}", expected the same as distance_m, which says' in found[0]


def test_bare_distances_take_the_unit_of_the_engraving(tmp_path: Path) -> None:
    """On a scale in feet an engraved 5 is five feet, 1.524 m by hand; taped, it could be anything."""
    lenses = "id,engraved_in\nL1,feet\nL2,metric\n"
    header = "lens_id,distance_text,position,method\n"
    read = job(tmp_path, lenses=lenses, readings=header + "L1,5,1,\nL2,5,1,engraved\n").readings
    found = problems(tmp_path, lenses=lenses, readings=header + "L1,5,1,taped\n")

    assert [reading.value for reading in read] == [1.524, 5]
    assert ["could mean" in sentence for sentence in found] == [True]


@pytest.mark.parametrize("text", ["0.0001 mm", "2000 km", "1e7 m"])
def test_a_distance_beyond_its_limits_is_told_wherever_it_stands(text: str, tmp_path: Path) -> None:
    """No row goes missing without a word."""
    found = problems(tmp_path, readings=f"lens_id,distance_text,position\nL1,{text},1\n")
    charts = problems(tmp_path, readings=READINGS, charts=f"lens_id,chart_distance\nL1,{text}\n")

    assert 1 == len(found) == len(charts)
    assert f'readings.csv row 2, distance_text: read "{text}"' in found[0]


def test_other_axes(tmp_path: Path) -> None:
    """T-stops and focal lengths in ``value``; a bare number is not written text."""
    rows = "L1,iris,T2.8,1\nL1,iris,4,2\nL1,zoom,35 mm,3\nL1,zoom,50,4\nL1,focus,5'6\",5\n"
    read = job(tmp_path, readings="lens_id,axis,value,position\n" + rows).readings

    assert [(reading.axis, reading.value, reading.written) for reading in read[:4]] == [
        ("iris", 2.8, "T2.8"),
        ("iris", 4, None),
        ("zoom", 35, "35 mm"),
        ("zoom", 50, None),
    ]
    assert (read[4].axis, read[4].value, read[4].written) == ("focus", 1.6764, "5'6\"")


def test_other_axes_without_a_column_of_their_own(tmp_path: Path) -> None:
    """The columns for distances hold them, and as numbers they are neither feet nor metres."""
    text = job(tmp_path, readings="lens_id,axis,distance_text,position\nL1,iris,T2.8,1\n").readings[0]
    number = job(tmp_path, readings="lens_id,axis,distance_m,position\nL1,zoom,35,1\n").readings[0]

    assert [(text.value, text.written), (number.value, number.written)] == [(2.8, "T2.8"), (35, None)]


@pytest.mark.parametrize(
    "row, words",
    [
        ("L1,iris,f/2.8,1,", 'value: read "f/2.8", expected a T-stop such as T2.8'),
        ("L1,zoom,inf,1,", 'value: read "inf", expected a focal length such as 35 mm'),
        ("L1,iris,,1,", "value: empty, expected a T-stop such as T2.8"),
        ("L1,pan,T2,1,", 'axis: read "pan", expected "focus", "iris" or "zoom"'),
        ("L1,iris,T2,1,T4", 'distance_text: read "T4", expected the same as value, which says 2'),
        ("L1,focus,2 m,1,2 m", 'value: read "2 m", expected an empty cell, as distance_text gives the distance'),
    ],
)
def test_other_axes_with_problems(row: str, words: str, tmp_path: Path) -> None:
    """What was expected depends on the axis."""
    assert [f"readings.csv row 2, {words}"] == problems(
        tmp_path, readings=f"lens_id,axis,value,position,distance_text\n{row}\n"
    )


def test_a_mark_is_one_distance(tmp_path: Path) -> None:
    """Both ways and as often as need be, but of one distance; both rows are named."""
    sound = "L1,1,,1.000,1\nL1,1,,1.004,2\nL1,2,,1.5,3\n"
    found = problems(tmp_path, readings=BOTH + sound + "L1,2,,1.8,4\n")

    assert len(job(tmp_path, readings=BOTH + sound).readings) == 3
    assert found == [
        (
            'readings.csv row 5, mark_no: read "2", expected one value for all readings of a mark; '
            "row 4 has 1.5 m, this row 1.8 m"
        )
    ]


@pytest.mark.parametrize("text", ["0", "-1", "1.5", "one", "1e400"])
def test_marks_are_counted_from_one(text: str, tmp_path: Path) -> None:
    """Whole numbers; a spreadsheet may have written 1.0."""
    assert len(problems(tmp_path, readings=BOTH + f"L1,{text},,1,1\n")) == 1
    assert job(tmp_path, readings=BOTH + "L1,1.0,,1,1\n").readings[0].mark_no == 1


def test_words_are_read_leniently(tmp_path: Path) -> None:
    """Spaces, hyphens and case; degrees Celsius with their sign; an empty cell says nothing."""
    header = "lens_id,distance_m,position,approach,method,temperature\n"
    read = job(tmp_path, readings=header + "L1,1,1,Near to far,TAPED,21.5 °C\nL1,1,1,,,\n").readings

    assert [(reading.approach, reading.method, reading.temperature_c) for reading in read] == [
        ("near_to_far", "taped", 21.5),
        (None, "engraved", None),
    ]
    assert len(problems(tmp_path, readings=header + "L1,1,1,,,70 °F\n")) == 1


# --- charts, cameras ----------------------------------------------------------------------------------------------


def test_all_columns_of_a_chart_test(tmp_path: Path) -> None:
    """A bare width is in millimetres; by hand 5'6" is 1.6764 m."""
    text = (
        "lens_id,chart_distance,position,approach,t_stop,camera,focal_mm,chart_width,frame_fill\n"
        "L1,5'6\",130.1,far to near,T1.5,A,35,400,45 %\nL1,2 m,,,,,,1.2 m,0.5\n"
    )
    one, other = job(tmp_path, charts=text).charts

    assert (
        one.written, one.chart_distance_m, one.position, one.approach, one.t_stop, one.camera, one.focal_mm,
        one.chart_width_m, one.frame_fill,
    ) == ("5'6\"", 1.6764, 130.1, "far_to_near", 1.5, "A", 35, 0.4, 0.45)  # fmt: skip
    assert (other.chart_distance_m, other.chart_width_m, other.frame_fill, other.t_stop) == (2, 1.2, 0.5, None)


def test_cameras_must_be_listed_where_any_are(tmp_path: Path) -> None:
    """Lenses, chart tests, motors and radios name cameras of the job; without a list anything goes."""
    files = {
        "lenses": "id,camera\nL1,A X\n",
        "charts": "lens_id,chart_distance_m,camera\nL1,1,Y\n",
    }
    things = '[[motors]]\nid = "M1"\ncamera = "Z"\n[[radios]]\nid = "R1"\ncamera = "W"\n'
    free = job(tmp_path, **files, job=things)
    found = problems(tmp_path, **files, job='[[cameras]]\nletter = "A"\n')
    found += problems(tmp_path, job='[[cameras]]\nletter = "A"\n' + things, charts="lens_id,chart_distance_m\n")

    assert (free.lenses[0].camera, free.motors[0].camera) == ("A X", "Z")
    assert found == [
        'lenses.csv row 2, camera: read "A X", expected cameras of the job: A',
        'charts.csv row 2, camera: read "Y", expected cameras of the job: A',
        'job.toml, motors[1].camera: read "Z", expected a camera of the job: A',
        'job.toml, radios[1].camera: read "W", expected a camera of the job: A',
    ]


def test_importing_the_package_loads_nothing_heavy() -> None:
    """Commands that read no workbook and write no job do not pay for either."""
    heavy = ("openpyxl", "tomli_w", "tomlkit", "numpy", "scipy")
    script = f"import sys, tapehook.job; print([m for m in {heavy} if m in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert ran.stdout.strip() == "[]"
