"""Run the cases whose title holds one of the words given, or all: `python -m speed [WORD...]`.

Prints each table as soon as it is measured. A run of all cases also writes `docs/speed.md`.
"""

import os

# Before anything loads NumPy: the goals are for one core, and so are the peers.
for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

import importlib
import pkgutil
import sys
from pathlib import Path

import speed
from speed.harness import BUILDERS, measure
from speed.report import goals, page, table

PAGE = Path(__file__).parent.parent / "docs" / "speed.md"


def main(words: list[str]) -> int:
    """Load all cases, run the chosen ones, report; 2 if no case has one of the words in its title."""
    for module in pkgutil.iter_modules(speed.__path__):
        if module.name != "__main__":
            importlib.import_module(f"speed.{module.name}")
    chosen = [title for title in BUILDERS if not words or any(word.lower() in title.lower() for word in words)]
    if not chosen:
        print(f"No case has {' or '.join(words)} in its title. There are:", *BUILDERS, sep="\n  ")
        return 2
    results = []
    for title in chosen:
        results.append(measure(title, BUILDERS[title]()))
        print(table(results[-1]), flush=True)
    met, count = goals(results)
    print(f"{met} of {count} goals met")
    if not words:
        PAGE.write_text(page(results), encoding="utf-8")
        print(f"Written: {PAGE.relative_to(PAGE.parent.parent)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
