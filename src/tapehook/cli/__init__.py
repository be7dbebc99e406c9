"""The commands: thin, each reads what was typed, calls one function below, and prints.

May live here: options, messages, tables for a terminal, exit codes. May not: arithmetic, rules on what is good
enough, or file formats. Every command has ``--json`` with a documented shape; bad input ends with exit code 2, all
problems on standard error, and nothing written.
"""

import click

from tapehook import __version__
from tapehook.cli.groups import LazyGroup

_COMMANDS = {
    "audit": "Check thousands of lenses at once, worst first.",
    "book": "The book: where lenses, readings and jobs are kept.",
    "close-up": "A close-up lens or split dioptre: the new range of a lens.",
    "demo": "Prepare the demo job that comes with tapehook.",
    "depth": "Depth of field for one lens, stop and distance.",
    "dew": "Whether a cold lens fogs, when it is clear, when it may be trusted.",
    "exposure": "Stop, EI, speed, shutter, ND and light: each from the others.",
    "flange": "Flange, scale or tape: what best focus on charts says.",
    "flicker": "Shutters and speeds that pulsing light cannot show on.",
    "handover": "The full handover of a job, for everyone who takes over.",
    "left": "What is left to test, the most won per minute first.",
    "map": "Lens maps of a job folder, and how sure they are.",
    "morning": "Three lenses tell whether the kit came through a cold night.",
    "next": "What to measure next on a lens, best first.",
    "prep": "Prepare a job folder and write its handover.",
    "pull": "The pull of a shot: where the ring must be at each moment.",
    "radio": "A channel for each camera, allowed and apart from the others.",
    "serve": "Open the pages in the browser.",
    "split": "Where to focus to hold two or more subjects, and the stop it takes.",
    "stop-pull": "The stop changes in shot, the exposure stays.",
    "strip": "Strips of marks at 1:1, to cut out and lay round a ring.",
    "strip-match": "Ready-marked strips: which fits which lens, and which to keep at hand.",
    "swap": "A lens is swapped mid-job: what it spoils, what settles it.",
    "twins": "Copies of one model: how they differ, and which may borrow a map.",
}


@click.group(
    cls=LazyGroup,
    helps=_COMMANDS,
    module="tapehook.cli.{}_command",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="tapehook")
def main() -> None:
    """Plan, measure and prove the focus system of a camera package, lens by lens.

    Start with `tapehook demo`, then copy its job folder and put your own readings in.
    """
