"""The spectrum of a band and the lot from above: to scale, told apart without colour, escaped, and nothing outside."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.picture.colours import DARK, PAPER
from tapehook.picture.lot import LotLink, Spot, lot
from tapehook.picture.spectrum import Signal, Spectrum, spectrum
from tests.picture.reading import SVG, Element, parse

SIGNALS = [
    Signal("A", 2425.0, 2.0, 10.0, "ours"),
    Signal("B", 2475.0, 2.0, 10.0, "fallback"),
    Signal("<b>&stage", 2437.0, 20.0, 20.0, "other", ofdm=True),
    Signal("link", 2460.0, 4.0, 0.0, "other"),
]


def drawn(signals: list[Signal] | None = None, **more: object) -> Element:
    """A band of 2400 to 2484 MHz, 500 points wide."""
    band = Spectrum(2400.0, 2484.0, SIGNALS if signals is None else signals, **more)  # type: ignore[arg-type]
    return parse(spectrum(band, width=500, height=180, title="band"))


def numbers(root: Element) -> list[float]:
    """All coordinates of rectangles, lines and letters."""
    keys = ("x", "y", "x1", "x2", "y1", "y2", "cx", "cy")
    return [float(one.attrib[key]) for one in root.iter() for key in keys if key in one.attrib]


def test_our_channels_stand_where_their_frequency_is() -> None:
    """The middle of A's box lies at 25 of 84 MHz of the frame, which says its own ends."""
    root = drawn()
    frame = next(one for one in root.iter(f"{SVG}rect") if "data-low" in one.attrib)
    (group,) = [one for one in root.iter(f"{SVG}g") if one.attrib.get("data-letter") == "A"]
    box = next(one for one in group.iter(f"{SVG}rect"))
    left, right = float(frame.attrib["data-left"]), float(frame.attrib["data-right"])
    low, high = float(frame.attrib["data-low"]), float(frame.attrib["data-high"])
    middle = float(box.attrib["x"]) + float(box.attrib["width"]) / 2
    assert low + (middle - left) / (right - left) * (high - low) == pytest.approx(2425.0, abs=0.05)


def test_others_taken_and_scan_are_told_in_words_and_form() -> None:
    """Names in the description, dashes for others, a hatch for what was taken, a line for the scan; text is escaped."""
    text = spectrum(
        Spectrum(2400.0, 2484.0, SIGNALS, [(2440.0, 2450.0)], [(2401.0, -90.0), (2450.0, -70.0)]),
        width=500,
        height=180,
        title="band",
    )
    root = parse(text)
    told = root.find(f"{SVG}desc")
    assert told is not None
    assert told.text is not None
    for said in ("camera A on 2425 MHz", "camera B falls back on 2475 MHz", "<b>&stage at 2437 MHz", "taken from 2440"):
        assert said in told.text
    assert "<b>" not in text.replace("&lt;b&gt;", "")
    assert "hatched: taken" in text
    assert "line: the scan" in text
    assert sum("stroke-dasharray" in one.attrib for one in root.iter()) >= 3


def test_what_lies_outside_the_band_is_left_out() -> None:
    """A 5 GHz video link is not in the picture of 2450 MHz, nor in its words."""
    assert "video" not in spectrum(
        Spectrum(2400.0, 2484.0, [Signal("video", 5800.0, 20.0, 20.0, "other", ofdm=True)]),
        width=400,
        height=150,
        title="band",
    )
    with pytest.raises(ValueError, match="width"):
        spectrum(Spectrum(2400.0, 2400.0, []), width=400, height=150, title="band")


@given(
    st.lists(
        st.builds(
            Signal,
            st.text(max_size=12),
            st.floats(2000, 3000),
            st.floats(0.001, 1000),
            st.floats(-200, 100),
            st.sampled_from(["ours", "fallback", "other"]),
            st.booleans(),
        ),
        max_size=12,
    )
)
def test_any_signals_stay_inside_the_picture(signals: list[Signal]) -> None:
    """Whatever is sent, boxes and letters stay within the picture, but for names of channels above a full level."""
    root = drawn(signals)
    assert all(-20.0 <= one <= 520.0 for one in numbers(root))


SPOTS = [
    Spot("camera", "A", 0.0, 0.0, "A receiver 0"),
    Spot("hand", "A", 0.0, 30.0, "A hand 0"),
    Spot("other", "stage <Wi-Fi>", 40.0, 10.0, "sender 0"),
]
LINKS = [LotLink((0.0, 30.0), (0.0, 0.0), 6.0), LotLink((0.0, 30.0), (40.0, 10.0), -3.0), LotLink((0, 0), (40, 10), 20)]


def test_the_lot_is_to_scale() -> None:
    """30 m up and 40 m across are as 3 to 4, north is up, and the ground says how metres lie on it."""
    root = parse(lot(SPOTS, LINKS, width=500, height=400, title="lot"))
    ground = next(one for one in root.iter(f"{SVG}rect") if "data-per" in one.attrib)
    ring = next(one for one in root.iter(f"{SVG}circle"))
    names = ("per", "left", "bottom", "west", "south")
    per, left, bottom, west, south = (float(ground.attrib[f"data-{one}"]) for one in names)
    assert west + (float(ring.attrib["cx"]) - left) / per == pytest.approx(0.0, abs=0.05)
    assert south + (bottom - float(ring.attrib["cy"])) / per == pytest.approx(30.0, abs=0.05)
    lines = list(root.iter(f"{SVG}line"))
    ups = abs(float(lines[0].attrib["y1"]) - float(lines[0].attrib["y2"]))
    across = abs(float(lines[2].attrib["x1"]) - float(lines[2].attrib["x2"]))
    assert ups / across == pytest.approx(3 / 4, abs=0.01)


@pytest.mark.parametrize("theme", [PAPER, DARK])
def test_margins_are_told_by_sign_and_dash(theme: object) -> None:
    """Below 10 dB a dash and "!", below 0 dB dots and a cross, else a full line; text is escaped."""
    text = lot(SPOTS, LINKS, width=500, height=400, title="lot", theme=theme)  # type: ignore[arg-type]
    root = parse(text)
    dashes = [one.attrib.get("stroke-dasharray") for one in root.iter(f"{SVG}line")]
    assert dashes == ["6 3", "1.5 3", None]
    for said in ("! 6 dB", "× −3 dB", "20 dB", "&lt;Wi-Fi&gt;", "square: camera"):
        assert said in text
    with pytest.raises(ValueError, match="somebody"):
        lot([], [], width=100, height=100, title="lot")


@given(st.lists(st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)), min_size=1, max_size=15))
def test_any_places_fit(places: list[tuple[float, float]]) -> None:
    """Radios on one point or a hundred kilometres apart: every spot inside the picture, every number finite."""
    spots = [Spot("hand", f"{at}", x, y) for at, (x, y) in enumerate(places)]
    root = parse(lot(spots, [], width=300, height=300, title="lot"))
    for ring in root.iter(f"{SVG}circle"):
        assert 0.0 <= float(ring.attrib["cx"]) <= 300.0
        assert 0.0 <= float(ring.attrib["cy"]) <= 300.0
    assert all(math.isfinite(one) for one in numbers(root))
