"""The budget bar: pieces that add up to the totals shown, also as whole per cents."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.picture import BarTerm, BudgetBar, budget_bar, percent_text, segments_of
from tapehook.picture.budget_bar import whole_percents
from tests.picture.reading import SVG, parse

share = st.floats(0, 5)
terms = st.lists(
    st.builds(
        BarTerm,
        st.text("abcdef", min_size=1, max_size=8),
        st.sampled_from(["bias", "scatter"]),
        st.sampled_from(["lens", "set"]),
        share,
    ),
    min_size=1,
    max_size=7,
)


def bar_of(parts: list[BarTerm]) -> BudgetBar:
    """Totals by the rule of the budget: biases linear, scatter in squares (docs/optics.md), worked here by hand."""

    def total(sources: set[str]) -> float:
        chosen = [part for part in parts if part.source in sources]
        return sum(part.share for part in chosen if part.kind == "bias") + math.sqrt(
            sum(part.share**2 for part in chosen if part.kind == "scatter")
        )

    return BudgetBar("T2", "1.2 m", tuple(parts), total({"lens"}), total({"lens", "set"}))


@given(terms)
def test_pieces_add_up_to_the_totals(parts: list[BarTerm]) -> None:
    """The lens's own pieces sum to its own total, all pieces to the whole, and none is negative."""
    bar = bar_of(parts)
    pieces = segments_of(bar)
    assert sum(piece.adds for piece in pieces if piece.term.source == "lens") == pytest.approx(bar.own, abs=1e-9)
    assert sum(piece.adds for piece in pieces) == pytest.approx(bar.total, abs=1e-9)
    assert all(piece.adds >= 0 for piece in pieces)
    assert sorted(piece.term for piece in pieces) == sorted(parts)


@given(terms)
def test_a_scatter_never_adds_more_than_it_takes_alone(parts: list[BarTerm]) -> None:
    """Squares add up to less than their sum."""
    assert all(piece.adds <= piece.term.share + 1e-9 for piece in segments_of(bar_of(parts)))


def test_pieces_of_a_known_budget() -> None:
    """Scatter 0.3 and 0.4 make 0.5 (3-4-5 triangle): 0.18 and 0.32; the bias of 0.1 stays; by hand."""
    bar = bar_of(
        [
            BarTerm("map", "scatter", "lens", 0.4),
            BarTerm("step", "scatter", "lens", 0.3),
            BarTerm("play", "bias", "lens", 0.1),
        ]
    )
    assert [(piece.term.name, round(piece.adds, 12)) for piece in segments_of(bar)] == [
        ("map", 0.32),
        ("step", 0.18),
        ("play", 0.1),
    ]


@given(st.lists(st.floats(0, 3), max_size=8))
def test_whole_per_cents_sum_to_the_rounded_sum(shares: list[float]) -> None:
    """What is printed under the bar adds up to what is printed above it; each is less than one per cent off."""
    shown = whole_percents(shares)
    assert sum(shown) == math.floor(sum(shares) * 100 + 0.5)
    assert all(abs(text - value * 100) < 1.0 + 1e-9 for text, value in zip(shown, shares, strict=True))


@given(terms)
def test_segments_are_as_long_as_they_say(parts: list[BarTerm]) -> None:
    """Up to the end of the bar, drawn lengths stand to 100 % as the shares do: to 0.02 points."""
    bar = bar_of(parts)
    root = parse(budget_bar(bar, width=240.0, title="budget"))
    outline = next(node for node in root.iter(f"{SVG}rect") if node.attrib["fill"] == "none")
    full = float(outline.attrib["width"])
    full_line = next(node for node in root.iter(f"{SVG}line"))
    assert float(full_line.attrib["x1"]) == pytest.approx(0.5 + full, abs=0.02)
    rects = [node for node in root.iter(f"{SVG}rect") if node.attrib["height"] == "13.00" and node is not outline]
    assert len(rects) == len(parts)
    x = 0.5
    for node, piece in zip(rects, segments_of(bar), strict=True):
        end = 0.5 + full * min((x - 0.5) / full + piece.adds, max(1.0, bar.total), 1.6)
        assert float(node.attrib["x"]) == pytest.approx(x, abs=0.03)
        assert float(node.attrib["width"]) == pytest.approx(max(end - x, 0.0), abs=0.03)
        x = max(end, x)


def test_no_depth_has_no_segments() -> None:
    """A stop without depth says so, instead of drawing a bar."""
    bar = BudgetBar("T1.3", "1 m", (BarTerm("map", "scatter", "lens", math.inf),), math.inf, math.inf)
    with pytest.raises(ValueError, match="no segments"):
        segments_of(bar)
    text = budget_bar(bar, width=240.0, title="budget")
    assert "no depth" in text
    assert "No depth is left at T1.3." in text


def test_the_stop_stands_beside_the_share() -> None:
    """Never a share without its stop, in the picture and in its words."""
    text = budget_bar(bar_of([BarTerm("map", "scatter", "lens", 0.47)]), width=240.0, title="budget")
    root = parse(text)
    assert [node.text for node in root.iter(f"{SVG}text")][:2] == ["T2 · lens itself, worst at 1.2 m", "47 %"]
    assert re.match(r"The lens itself uses 47 % .* at T2, worst at 1.2 m;", root.findtext(f"{SVG}desc") or "")


@pytest.mark.parametrize(
    "value, text",
    [(0.0, "0 %"), (0.474, "47 %"), (9.99, "999 %"), (10.0, "over 1000 %"), (math.inf, "no depth")],
)
def test_shares_as_words(value: float, text: str) -> None:
    """Whole per cents; what is far beyond counting is not counted."""
    assert percent_text(value) == text


def test_a_long_name_gives_way_to_its_figure() -> None:
    """What a term adds, and in brackets what it takes alone, stand whole beside a name cut short."""
    bar = bar_of(
        [
            BarTerm("glass behind the lens and in front", "scatter", "lens", 0.654),
            BarTerm("map", "scatter", "lens", 0.5),
        ]
    )
    text = "".join(parse(budget_bar(bar, width=238.0, title="x")).itertext())
    assert re.search(r"glass[^%]*… 52 % \(65 %\)", text), text
