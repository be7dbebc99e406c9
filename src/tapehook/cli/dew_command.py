"""``tapehook dew``: whether a cold lens fogs, when it is clear, and when its focus may be trusted."""

import click

from tapehook.cli.console import show_json
from tapehook.cli.refusals import Command, Option


@click.command(
    "dew",
    cls=Command,
    epilog="""\b
Example:
  tapehook dew --air 22C --humidity 50% --lens -5C
  tapehook dew --air 72F --humidity 60% --lens 20F --then 50F --after 15min --json
""",
)
@click.option("--air", cls=Option, help="Temperature of the air where the lens goes: 22C, 72F.  [required]")
@click.option("--humidity", cls=Option, help="Its relative humidity: 50 %.  [required]")
@click.option("--lens", cls=Option, help="Temperature of the lens: -5C.  [required]")
@click.option("--time-constant", cls=Option, help="Minutes a lens takes for 63 % of the way. Otherwise 30.")
@click.option("--then", cls=Option, help="What its barrel showed later, in that air: 8C; with --after.")
@click.option("--after", cls=Option, help="After how many minutes it showed that: 15min.")
@click.option("--json", "as_json", cls=Option, is_flag=True, help="Print one JSON object (docs: Commands).")
def command(as_json: bool, **typed: str | None) -> None:  # noqa: FBT001 - click passes options by name
    """Whether a cold lens fogs in warm air, when it is clear, and when its focus may be trusted.

    The dew point is that of the air; a lens no warmer fogs.
    """
    from tapehook.cli.dew_answer import dew_answer
    from tapehook.prep.dew import dew_as_json

    check = dew_answer(typed)
    if as_json:
        show_json(dew_as_json(check))
        return
    click.echo(check.message)
    click.echo(f"  next: {check.next_step}")
    for sentence in check.assumptions:
        click.echo(f"  assumed: {sentence}")
