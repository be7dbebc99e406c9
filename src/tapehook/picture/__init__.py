"""Pictures: the tape in vergence, maps with their uncertainty, budget bars; data in, SVG text out.

May live here: pure functions from figures to SVG text, the same for page, paper and pocket page. Every style is a
presentation attribute, since no style sheet reaches a printed picture. May not: files, records of a job, or the
working out of a figure that is shown.
"""

from tapehook.picture.budget_bar import BarTerm, BudgetBar, budget_bar, percent_text, segments_of
from tapehook.picture.colours import DARK, PAPER, Theme
from tapehook.picture.depth_rule import RuleScale, SharpZone, depth_rule
from tapehook.picture.map_chart import ChartMark, map_chart

__all__ = [
    "DARK",
    "PAPER",
    "BarTerm",
    "BudgetBar",
    "ChartMark",
    "RuleScale",
    "SharpZone",
    "Theme",
    "budget_bar",
    "depth_rule",
    "map_chart",
    "percent_text",
    "segments_of",
]
