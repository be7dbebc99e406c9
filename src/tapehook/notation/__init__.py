"""How the trade writes it: distances, stops, focal lengths, ring positions; read and written.

May live here: reading a text into a number in SI units (positions: in the unit of the read-out), and
writing such a number in house style. May not: files, arrays, or any knowledge of lenses. Texts are read
leniently, but a text that could mean two things is refused with what it could have meant. Only the standard
library is used.
"""

from tapehook.notation.distance import System, format_distance, parse_distance, write_distance
from tapehook.notation.errors import NotationError
from tapehook.notation.focal import FocalRange, format_focal_length, parse_focal_length
from tapehook.notation.length import LengthUnit, format_length_mm, parse_length, parse_signed_length
from tapehook.notation.number import parse_number, write_number
from tapehook.notation.position import PositionUnit, format_position, parse_position
from tapehook.notation.share import parse_share
from tapehook.notation.stop import (
    FULL_STOPS,
    HALF_STOPS,
    THIRD_STOPS,
    Scale,
    Stop,
    format_f_number,
    format_stop,
    parse_stop,
)

__all__ = [
    "FULL_STOPS",
    "HALF_STOPS",
    "THIRD_STOPS",
    "FocalRange",
    "LengthUnit",
    "NotationError",
    "PositionUnit",
    "Scale",
    "Stop",
    "System",
    "format_distance",
    "format_f_number",
    "format_focal_length",
    "format_length_mm",
    "format_position",
    "format_stop",
    "parse_distance",
    "parse_focal_length",
    "parse_length",
    "parse_number",
    "parse_position",
    "parse_share",
    "parse_signed_length",
    "parse_stop",
    "write_distance",
    "write_number",
]
