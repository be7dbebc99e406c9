"""What a person waits for before anything happens."""

import subprocess
import sys
from pathlib import Path

from speed.harness import Case, Contender, case


@case("`tapehook --help`")
def help_page() -> Case:
    """The command's own start, beside a Python that does nothing."""
    command = Path(sys.executable).with_name("tapehook")
    return Case(
        ours=Contender(
            "tapehook", lambda: subprocess.run([command, "--help"], check=True, capture_output=True)
        ),
        peers=(
            Contender(
                "python, doing nothing", lambda: subprocess.run([sys.executable, "-c", ""], check=True)
            ),
        ),
        rounds=9,
        at_most_s=0.3,
        note="From starting the program to its end: what is imported late is not waited for here.",
    )
