"""What is printed round a ring: strips from a lens map, how ready-marked strips sit on lenses, and which few to pin.

May live here: pure functions and frozen results; millimetres of arc, degrees of ring, shares as fractions (1.0 = all
the room on that side of the focus). May not: files, records of a job, drawing, or text for people.
"""

from tapehook.strip.blank import BlankKind, blank_strip
from tapehook.strip.choice import RowKind
from tapehook.strip.layout import Row, Strip, Tick, lay_out
from tapehook.strip.pins import best_pins
from tapehook.strip.ready_marked import StripTurn, turn_strip
from tapehook.strip.ring import Ring, StripRefusal

__all__ = [
    "BlankKind",
    "Ring",
    "Row",
    "RowKind",
    "Strip",
    "StripRefusal",
    "StripTurn",
    "Tick",
    "best_pins",
    "blank_strip",
    "lay_out",
    "turn_strip",
]
