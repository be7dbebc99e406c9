"""Which channel each camera gets: what is allowed, what is on the air, margins in decibels, and the plan.

May live here: channels of open standards, bands of regions with the source of each row, propagation, and the choice of
channels; pure functions and frozen results, metres and megahertz, levels in dBm. May not: files, records of a job, or
any distance for fired effects. Planning figures only: local rules and the production's frequency coordinator decide.
"""

from tapehook.radio.allowed import Permit, Refused, Use, permit
from tapehook.radio.bands import REGIONS, BandRow, rows_of
from tapehook.radio.channels import STANDARDS, Channel, channel, channels

__all__ = [
    "REGIONS",
    "STANDARDS",
    "BandRow",
    "Channel",
    "Permit",
    "Refused",
    "Use",
    "channel",
    "channels",
    "permit",
    "rows_of",
]
