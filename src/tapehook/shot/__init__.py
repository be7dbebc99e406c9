"""What a shot asks of the lens: the focus budget, the split between subjects, and the pull through the sharp lane.

May live here: pure functions and frozen results; SI units, vergence in dioptres, shares as fractions (1.0 = all the
room on that side of the focus), ring positions in degrees. May not: files, records of a job, or text for people beyond
the names of terms and why there is no pull.
"""

from tapehook.shot.budget import BudgetTerm, FocusBudget, budget_over
from tapehook.shot.split import Split, split_focus

__all__ = ["BudgetTerm", "FocusBudget", "Split", "budget_over", "split_focus"]
