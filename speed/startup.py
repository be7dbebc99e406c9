"""What a person waits for before anything happens, and for one quick answer."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from speed.harness import Case, Contender, case

COMMAND = Path(sys.executable).with_name("tapehook")


def running(*command: str | Path) -> Callable[[], object]:
    """Something that runs a command to its end and keeps what it prints."""
    return lambda: subprocess.run(command, check=True, capture_output=True)


@case("`tapehook --help`")
def help_page() -> Case:
    """The command's own start, beside a Python that does nothing."""
    return Case(
        ours=Contender("tapehook", running(COMMAND, "--help")),
        peers=(Contender("python, doing nothing", running(sys.executable, "-c", "")),),
        rounds=9,
        at_most_s=0.3,
        note="From starting the program to its end: what is imported late is not waited for here.",
    )


@case("`tapehook depth`")
def depth_answer() -> Case:
    """One depth of field asked for on the command line; most of it is the import of NumPy."""
    asked = ("depth", "--focal", "50mm", "--stop", "T2", "--distance", "7'", "--json")
    return Case(
        ours=Contender("tapehook", running(COMMAND, *asked)),
        peers=(Contender("python, importing NumPy", running(sys.executable, "-c", "import numpy")),),
        rounds=9,
        note=f"From starting the program to the answer of `tapehook {' '.join(asked)}`.",
    )
