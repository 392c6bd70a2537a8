"""The command `levelgain`."""

import sys

import typer

from optimizer import (
    commands_compare,
    commands_demonstrate,
    commands_explain,
    commands_page,
    commands_results,
    commands_ridelog,
    commands_study,
    commands_transfer,
    commands_validate,
)
from plant.errors import UserInputError

BAD_INPUT = 2  # exit code

app = typer.Typer(
    name="levelgain",
    help=(
        "Choose the balance-controller profile of a self-balancing single-wheel electric board"
        " by simulated rides.\n\nStart with: levelgain run hill_town"
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# In the order in which a user meets them, each in a line that a narrow terminal shows whole.
_COMMANDS = (
    ("new", commands_study.new, "Make a new study folder."),
    ("check", commands_study.check, "Check a study file and say how long it takes."),
    ("run", commands_study.run, "Ride candidates and search the trade-off."),
    ("resume", commands_study.resume, "Go on with a stopped study, or extend one."),
    ("fork", commands_study.fork_study, "Start a new study from another's front."),
    ("watch", commands_page.watch, "Serve the page of a study while it runs."),
    ("front", commands_results.front, "Show the front as a table."),
    ("show", commands_results.show, "Show one candidate."),
    ("page", commands_page.page, "Write one page to choose a candidate from."),
    ("compare", commands_compare.compare, "Compare profiles ride by ride."),
    ("explain", commands_explain.explain, "Say which parameters matter and how."),
    ("ride", commands_results.ride, "Ride one profile over all rides."),
    ("validate", commands_validate.validate_profile, "Prove a profile before anybody rides it."),
    ("export", commands_results.export_profile, "Write a profile with its cautions."),
    ("transfer", commands_transfer.transfer, "Rescale a profile for another board."),
    ("report", commands_study.report, "Write tables and figures again."),
    ("demonstrate", commands_demonstrate.demonstrate_sections, "Draw what each section does."),
)
for _name, _command, _short in _COMMANDS:
    app.command(name=_name, short_help=_short)(_command)

app.add_typer(
    commands_ridelog.log_app, short_help="Check a ride log, fit the board to it, compare."
)


def main() -> None:
    """Run the command line; a refused input is one line on standard error and exit code 2."""
    try:
        app()
    except UserInputError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(BAD_INPUT)
    except KeyboardInterrupt:
        sys.stderr.write("Interrupted; nothing that was stored is lost.\n")
        sys.exit(commands_study.INTERRUPTED)
