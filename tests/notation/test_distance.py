"""Distances: what is read, what is refused with which readings, how they are written."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.notation import (
    LengthUnit,
    NotationError,
    System,
    format_distance,
    parse_distance,
    write_distance,
)
from tests.notation.strategies import distances_m, eighths, inches, set_distances_m, whole_feet

SYSTEMS: tuple[System, ...] = ("metric", "imperial")

# Metres by hand: 1 ft = 0.3048 m and 1 in = 0.0254 m exactly (tests/truth/test_units.py).
SAME_DISTANCES = [
    (
        1.6764,  # 5.5 x 0.3048
        """5'6"|5' 6"|5’6”|5′6″|5‘6“|5´6´´|5'6''|5'6|5' 6|5'-6"|5 ft 6 in|5ft6in|5 ft. 6 in.|5 ft, 6 in|5 feet 6
        inches|5 foot 6 inch|5FT 6IN|05'06"|66in|66"|66 inches|5.5ft|5.5'|5.5 feet|5,5 ft|5 1/2 ft|5½'|5½ ft|
        1.6764 m|1,6764 m|167.64cm|1676.4 mm|1 m 67.64 cm|1m 67.64cm|1.6764 metres|1.6764 meter|1.6764M""",
    ),
    (1.6891, """5'6½"|5' 6 1/2"|5'6 1/2|5'6-1/2"|5'6.5"|5'6,5"|5'6"½|5'6" 1/2|66.5in|66 1/2 in|5' 6½ ″"""),
    (1.68, "1.68 m|1,68 m|168cm|168 cm|1680mm|1.680 m|01.68 m|1.68e0 m|168 centimetres|1680 millimeters"),
    (1.7018, """5'7"|67"|170.18 cm|67 in"""),
    (0.0127, """½"|1/2"|1⁄2 in|.5 in|0.5"|0,5 in|1.27 cm|0'0½"|0 ft ½ in"""),
    (1234.5, "1,234.5 m|1.234,5 m|1234.5 m|1234,5 m"),
    (1234567.0, "1,234,567 m|1.234.567 m|1234567 m"),
    (2.0, "2 m|2.0 m|\u200b2\u00a0m\ufeff|\t2\n m\u2009"),
    (math.inf, "inf|INF|Inf.|infinity|Infinity|infinite|∞| ∞ "),
]
READ = [
    pytest.param(text, metres, id=f"{text!a}")
    for metres, texts in SAME_DISTANCES
    for text in texts.replace("\n        ", " ").split("|")
]

REFUSED = [
    ("5.6", ("5.6 m", "5.6 ft", "5'6\"")),
    ("5,11", ("5,11 m", "5,11 ft", "5'11\"")),
    ("1.68", ("1.68 m", "1.68 ft")),
    ("6", ("6 m", "6 ft")),
    ("168", ("168 m", "168 ft", "168 cm", "168 in")),
    ("6 1/2", ("6 1/2 m", "6 1/2 ft")),
    ("3/4", ("3/4 in", "3'4\"")),
    ("5 6", ("5'6\"", "5.6 m", "5.6 ft")),
    ("5-6", ("5'6\"", "5.6 m", "5.6 ft")),
    ("5–6", ("5'6\"", "5.6 m", "5.6 ft")),
    ("5:6", ("5'6\"", "5.6 m", "5.6 ft")),
    ("5 14", ("5.14 m", "5.14 ft")),
    ("5/6", ("5'6\"",)),
    ("4/6 ft", ("4'6\"",)),
    ('5 6"', ("5'6\"",)),
    ("5'6'", ("5'6\"",)),
    ("5'-6", ("5'6\"", "5 ft", "6 ft")),
    ("5 6 ft", ("5.6 ft", "5 ft", "6 ft")),
    ("5-6 m", ("5 m", "6 m")),
    ("1 680 m", ("1.680 m", "1680 m", "1 m", "680 m")),
    ("1m68", ("1.68 m",)),
    ("1,680 m", ("1.680 m", "1680 m")),
    ("12,500mm", ("12.500mm", "12500mm")),
    ("5'14\"", ("6'2\"", "5'1.4\"")),
    ("5'12", ("6'0\"", "5'1.2")),
    ("5'61/2\"", ("5'6 1/2\"",)),
    ("5'11/2\"", ("5'1 1/2\"",)),
    ("5'11/16\"", ("5'0 11/16\"", "5'1 1/16\"")),
    ("5' 1/2", ("5'0 1/2\"", "5 1/2 ft")),
]
"""Text, and all it could have meant."""

MEANINGLESS = [
    "6 - 1/2 in", "6 -1/2 in", "5'6 - 1/2\"",
    "", "   ", "\u200b", "abc", "m", "'", '"', "5 km", "5 yards", "~5 m", "5 m?", "nan", "NaN m", "-inf", "+5 m",
    "5' 6\" 7", "6\"5'", "5'6\"3'2\"", "5.5' 6\"", "5'6.5.5\"", "5 1/2' 6\"", "1.2.3 m", "5. m", "5, m", "m 5",
    "1/0 in", "0/2 in", "1 /  ft", "6 5/7 in", "1 m 168 cm", "1.5 m 20 cm", "inf m", "∞'", "1e5e5 m", "5 m 5 m 5 m",
    "0 m", "0", "0'0\"", "-5 m", "−5'", "– 5 m", "-0 m", "1e400 m", "1e999999999999 m", "1e-400 m",
    "٥ m", "５ m", "५'", "𝟙 m", "² m", "5\x00m", "\ud800", "1 м",
]  # fmt: skip


@pytest.mark.parametrize("text, metres", READ)
def test_each_spelling_is_read_as_its_exact_distance(text: str, metres: float) -> None:
    """All spellings of one distance give one and the same float, the nearest to its decimal value."""
    assert parse_distance(text) == metres


@pytest.mark.parametrize("text, readings", REFUSED)
def test_what_could_mean_two_things_is_refused_with_its_readings(text: str, readings: tuple[str, ...]) -> None:
    """An unclear text is refused, and the error lists what it could have meant, likeliest first."""
    with pytest.raises(NotationError) as refusal:
        parse_distance(text)

    assert refusal.value.readings == readings
    assert refusal.value.text == text


@pytest.mark.parametrize("text", [text for text, _ in REFUSED])
def test_each_reading_offered_can_be_typed_as_it_stands(text: str) -> None:
    """The readings of a refusal are themselves clear: typing one of them is accepted."""
    with pytest.raises(NotationError) as refusal:
        parse_distance(text)

    assert all(parse_distance(reading) > 0 for reading in refusal.value.readings)


@pytest.mark.parametrize("text", MEANINGLESS)
def test_what_means_nothing_is_refused_without_readings(text: str) -> None:
    """No distance is made up from a text that has none, nor from zero, negative or overflowing ones."""
    with pytest.raises(NotationError) as refusal:
        parse_distance(text)

    no_readings_but_units = {reading[-2:].strip() for reading in refusal.value.readings} <= {"m", "ft"}
    assert not refusal.value.readings or (text == "0" and no_readings_but_units)


def test_a_long_text_is_refused_whatever_it_says() -> None:
    """200 characters are read, one more is refused before any work is done on it."""
    assert parse_distance("5 m".ljust(200)) == 5

    with pytest.raises(NotationError, match="has 201 characters"):
        parse_distance("5 m".ljust(201))


@pytest.mark.parametrize(
    "text, bare_unit, metres",
    [
        ("1.68", "m", 1.68),
        ("1,68", "m", 1.68),
        ("168", "cm", 1.68),
        ("1680", "mm", 1.68),
        ("66", "in", 1.6764),
        ("66.5", "in", 1.6891),
        ("3/4", "in", 0.01905),
        ("6", "ft", 1.8288),
        ("6.0", "ft", 1.8288),
        ("6 1/2", "ft", 1.9812),
        ("5'6", "m", 1.6764),
        ("1.68 m", "ft", 1.68),
        ("inf", "ft", math.inf),
    ],
)
def test_a_column_may_state_the_unit_of_bare_numbers(text: str, bare_unit: LengthUnit, metres: float) -> None:
    """A number without a unit takes the stated one; a written unit goes before it."""
    assert parse_distance(text, bare_unit=bare_unit) == metres


@pytest.mark.parametrize(
    "text, bare_unit, readings",
    [
        ("6.6", "ft", ("6.6 ft", "6'6\"")),
        ("6,6", "ft", ("6,6 ft", "6'6\"")),
        ("6.11", "ft", ("6.11 ft", "6'11\"")),
        ("6.25", "ft", ("6.25 ft",)),
        ("3/4", "ft", ("3/4 ft", "3'4\"")),
        ("3/4", "m", ("3/4 m", "3'4\"")),
        ("5 6", "ft", ("5'6\"", "5.6 m", "5.6 ft")),
        ("1,680", "m", ("1.680", "1680")),
    ],
)
def test_a_stated_unit_does_not_settle_every_doubt(text: str, bare_unit: LengthUnit, readings: tuple[str, ...]) -> None:
    """Even in a column of feet 6.6 may be 6'6" and 3/4 may be 3'4", so they are refused there too."""
    with pytest.raises(NotationError) as refusal:
        parse_distance(text, bare_unit=bare_unit)

    assert refusal.value.readings == readings


def test_a_file_with_decimal_commas_has_points_for_thousands() -> None:
    """With ``decimal_comma`` the doubt moves from the comma to the point."""
    assert parse_distance("1,680 m", decimal_comma=True) == 1.68
    assert parse_distance("1.68 m", decimal_comma=True) == 1.68
    assert parse_distance("1.680,5 m", decimal_comma=True) == 1680.5

    with pytest.raises(NotationError) as refusal:
        parse_distance("1.680 m", decimal_comma=True)
    assert refusal.value.readings == ("1,680 m", "1680 m")


@given(feet=whole_feet, inch=inches, eighth=eighths)
def test_feet_inches_and_metres_agree(feet: int, inch: int, eighth: int) -> None:
    """One distance in feet and inches, in inches, in decimal feet and in metres is one float."""
    total = 12 * feet + inch + Fraction(eighth, 8)
    expected = float(total * Fraction(254, 10000))

    texts = [
        f"{feet}'{inch} {eighth}/8\"" if eighth else f"{feet}'{inch}\"",
        f"{feet} ft {float(inch + Fraction(eighth, 8))!r} in",
        f"{float(total)!r} in",
        f"{float(total * 254) / 100!r} cm" if (total * 254).denominator == 1 else f"{float(total)!r}″",
    ]
    assert [parse_distance(text) for text in texts] == [expected] * len(texts)


@given(distance_m=distances_m)
def test_what_is_written_for_files_reads_back_to_the_same_float(distance_m: float) -> None:
    """Nothing is lost in a job folder, with a decimal point or a decimal comma."""
    assert parse_distance(write_distance(distance_m)) == distance_m
    assert parse_distance(write_distance(distance_m, decimal_comma=True), decimal_comma=True) == distance_m


@given(distance_m=distances_m)
def test_exact_style_reads_back_to_the_same_distance(distance_m: float) -> None:
    """Exact style keeps 1e-12 of the distance in either system, for any normal float."""
    for system in SYSTEMS:
        back = parse_distance(format_distance(distance_m, system, exact=True))
        if distance_m > 1e-300:
            assert back == distance_m or abs(back / distance_m - 1) <= 1e-12


def _half_of_last_digit_m(distance_m: float, system: System) -> float:
    """What house style may be off by: half a step, as `docs/notation.md` gives the steps."""
    if system == "metric":
        return 0.005 if distance_m < 10 else 0.05 if distance_m < 100 else 0.5
    feet = distance_m / 0.3048
    return 0.0254 * (0.125 if feet < 6 else 0.25 if feet < 20 else 0.5 if feet < 50 else 6)


@given(distance_m=set_distances_m)
def test_house_style_is_within_half_of_its_last_digit(distance_m: float) -> None:
    """What people read is the nearest value of the style, and can be typed back."""
    for system in SYSTEMS:
        back = parse_distance(format_distance(distance_m, system))
        assert abs(back - distance_m) <= _half_of_last_digit_m(distance_m, system) * (1 + 1e-9)


@given(distance_m=st.floats(min_value=1e-9, max_value=0.0254))
def test_house_style_of_very_short_lengths_keeps_three_digits(distance_m: float) -> None:
    """No distance, however short, is written as zero."""
    for system in SYSTEMS:
        assert parse_distance(format_distance(distance_m, system)) == pytest.approx(distance_m, rel=0.0051)


@given(first_m=st.floats(1e-300, 1e300), second_m=st.floats(1e-300, 1e300))
def test_house_style_keeps_the_order(first_m: float, second_m: float) -> None:
    """Of two distances the farther one is never written as the nearer."""
    near_m, far_m = sorted((first_m, second_m))
    for system in SYSTEMS:
        written = [format_distance(distance_m, system) for distance_m in (near_m, far_m)]
        assert parse_distance(written[0]) <= parse_distance(written[1])


@pytest.mark.parametrize(
    "distance_m, metric, imperial",
    [
        (1.6764, "1.68 m", "5'6\""),
        (1.6891, "1.69 m", "5'6½\""),
        (1.6, "1.6 m", "5'3\""),
        (2.1336, "2.13 m", "7'"),
        (9.994, "9.99 m", "32'9\""),
        (9.996, "10 m", "32'10\""),
        (99.96, "100 m", "328'"),
        (12.34, "12.3 m", "40'6\""),
        (123.4, "123 m", "405'"),
        (1.82, "1.82 m", "5'11¾\""),
        (1.8287, "1.83 m", "6'"),
        (0.1143, "0.11 m", '4½"'),
        # On either side of each change of step.
        (1.8222, "1.82 m", "5'11¾\""),
        (1.8355, "1.84 m", "6'0½\""),
        (1.8351, "1.84 m", "6'"),
        (6.0832, "6.08 m", "19'11½\""),
        (6.1062, "6.11 m", "20'"),
        (15.2, "15.2 m", "49'10\""),
        (15.37, "15.4 m", "50'"),
        (9.984, "9.98 m", "32'9\""),
        (10.04, "10 m", "32'11\""),
        (99.94, "99.9 m", "328'"),
        (100.4, "100 m", "329'"),
        (0.0432, "43.2 mm", '1¾"'),
        (0.003, "3 mm", '0.118"'),
        (math.inf, "∞", "∞"),
    ],
)
def test_house_style(distance_m: float, metric: str, imperial: str) -> None:
    """The steps of the style, and zeros that say nothing left out. By hand: metres / 0.0254 is inches."""
    assert format_distance(distance_m, "metric") == metric
    assert format_distance(distance_m, "imperial") == imperial


@pytest.mark.parametrize("distance_m", [0.0, -1.0, -math.inf, math.nan])
def test_only_distances_can_be_written(distance_m: float) -> None:
    """Zero, negative and undefined values are mistakes of the program, and raise ValueError."""
    with pytest.raises(ValueError, match="more than zero"):
        format_distance(distance_m, "metric")
    with pytest.raises(ValueError, match="more than zero"):
        write_distance(distance_m)


def test_files_and_people_get_their_own_infinity() -> None:
    """Files get ASCII, people the sign."""
    assert write_distance(math.inf) == "inf"
    assert format_distance(math.inf, "imperial") == "∞"
