"""The flange of the reference lenses that were tested on charts, against their true one (README.md beside this file).

13 of the 25 have chart tests, one way only and on a body nobody wrote down; some have a scale that is 1 % off, or a
tape that starts elsewhere. Their true flange is in ``truth/parameters.json``.
"""

import json

import numpy as np

from tapehook.job import read_job
from tapehook.prep import prepare
from tests.truth import tables

TRUE = {row["id"]: row for row in json.loads((tables.MAPS / "truth" / "parameters.json").read_text(encoding="utf-8"))}


def test_reference_flanges() -> None:
    """Errors are as large as said (rms of z between 0.6 and 1.3 with 13 lenses), and no error of 3 sd."""
    flanges = prepare(read_job(tables.MAPS)).flanges
    scores = []
    for one in flanges.lenses:
        assert one.flange_m is not None
        assert one.sd_m is not None
        scores.append((one.flange_m * 1e6 - TRUE[one.lens_id]["flange_um"]) / (one.sd_m * 1e6))
    assert len(scores) == 13
    assert 0.6 < float(np.sqrt(np.mean(np.square(scores)))) < 1.3
    assert max(abs(score) for score in scores) < 3.0


def test_no_reference_lens_is_accused_of_what_it_has_not() -> None:
    """A cause is named only where that error truly uses a quarter of the depth at the widest stop."""
    prep = prepare(read_job(tables.MAPS))
    for one in prep.flanges.lenses:
        entry, true = prep.lens(one.lens_id), TRUE[one.lens_id]
        assert entry.widest is not None
        assert one.cause not in ("flange", "fine") or (
            (abs(true["flange_um"]) / (entry.widest.f_number * 25.0) >= 0.2) == (one.cause == "flange")
        )
        assert one.cause != "scale" or true["scale_slope"] != 0.0
        assert one.cause != "tape_offset" or true["tape_datum_mm"] != 0.0
