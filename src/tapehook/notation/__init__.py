"""How the trade writes it: distances, stops, focal lengths, ring positions; read and written.

May live here: reading a text into a number in SI units (positions: in the unit of the read-out), and
writing such a number in house style. May not: files, arrays, or any knowledge of lenses. Texts are read
leniently, but a text that could mean two things is refused with what it could have meant. Only the standard
library is used.
"""

from tapehook.notation.distance import System, format_distance, parse_distance, write_distance
from tapehook.notation.errors import NotationError
from tapehook.notation.filters import DENSITY_PER_STOP, format_density, parse_filter
from tapehook.notation.focal import FocalRange, format_focal_length, parse_focal_length
from tapehook.notation.length import (
    LengthUnit,
    format_length_mm,
    format_small_length,
    parse_length,
    parse_signed_length,
)
from tapehook.notation.light import LUX_PER_FOOT_CANDLE, parse_light
from tapehook.notation.minutes import parse_minutes
from tapehook.notation.number import parse_number, write_number
from tapehook.notation.position import PositionUnit, format_position, parse_position
from tapehook.notation.share import parse_share
from tapehook.notation.shutter import Shutter, format_angle, format_shutter_time, parse_shutter
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
from tapehook.notation.temperature import format_temperature, parse_temperature
from tapehook.notation.thirds import format_stop_in_thirds, format_thirds

__all__ = [
    "DENSITY_PER_STOP",
    "FULL_STOPS",
    "HALF_STOPS",
    "LUX_PER_FOOT_CANDLE",
    "THIRD_STOPS",
    "FocalRange",
    "LengthUnit",
    "NotationError",
    "PositionUnit",
    "Scale",
    "Shutter",
    "Stop",
    "System",
    "format_angle",
    "format_density",
    "format_distance",
    "format_f_number",
    "format_focal_length",
    "format_length_mm",
    "format_position",
    "format_shutter_time",
    "format_small_length",
    "format_stop",
    "format_stop_in_thirds",
    "format_temperature",
    "format_thirds",
    "parse_distance",
    "parse_filter",
    "parse_focal_length",
    "parse_length",
    "parse_light",
    "parse_minutes",
    "parse_number",
    "parse_position",
    "parse_share",
    "parse_shutter",
    "parse_signed_length",
    "parse_stop",
    "parse_temperature",
    "write_distance",
    "write_number",
]
