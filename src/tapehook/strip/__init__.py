"""What is printed round a ring: how ready-marked strips sit on lenses, and which few serve a kit.

May live here: pure functions and frozen results; degrees of ring, shares as fractions (1.0 = all the room on that side
of the focus). May not: files, records of a job, drawing, or text for people.
"""

from tapehook.strip.pins import best_pins
from tapehook.strip.ready_marked import StripTurn, turn_strip

__all__ = ["StripTurn", "best_pins", "turn_strip"]
