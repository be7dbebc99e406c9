"""Texts and values that the tests of the notation share."""

from hypothesis import strategies as st

distances_m = st.floats(min_value=0, exclude_min=True, allow_nan=False, allow_infinity=True)
"""Any distance a float can hold, infinity among them."""

set_distances_m = st.floats(min_value=0.1, max_value=500)
"""Distances as they occur on a set."""

numbers = st.floats(allow_nan=False, allow_infinity=False)

apertures = st.floats(min_value=0.5, max_value=128)

whole_feet = st.integers(min_value=1, max_value=200)
inches = st.integers(min_value=0, max_value=11)
eighths = st.integers(min_value=0, max_value=7)

_WORDS = "m cm mm um ft feet foot in inch thou inf infinity nan e E T t f f/ F to deg count percent split"
_AWKWARD = "1/2|6 1/2|5'6|1,680|2.8|1e400|1e-400|1e999999999|T2.8 1/3|24-75|12° 30'|85 %|0,0"
_SIGNS = "0123456789'\"’”′″`´°%.,/-−–+:;()½⅓¾ \t\n∞µ٣५７𝟙\x00\u200b\ufeff\ud800"
_PIECES = (*_SIGNS, *_WORDS.split(" "), *_AWKWARD.split("|"))
"""What notations are made of, and what gets among them."""

notation_like = st.lists(st.sampled_from(_PIECES), max_size=9).map("".join)
any_text = st.one_of(st.text(max_size=30), notation_like, st.text(min_size=190, max_size=210))
