"""The command `levelgain`: which commands there are, and how they end when they do not end well."""

import sys

import typer

from optimizer.base.errors import UserInputError
from optimizer.cli import log_commands, profile_commands, result_commands, study_commands
from optimizer.cli.exit_codes import BAD_INPUT, INTERRUPTED

# In the order in which a user meets them, each in a line that a narrow terminal shows whole.
_COMMANDS = (
    ("new", study_commands.new, "Make a new study folder."),
    ("check", study_commands.check, "Check a study file and say how long it takes."),
    ("run", study_commands.run, "Ride candidates and search the trade-off."),
    ("resume", study_commands.resume, "Go on with a stopped study, or extend one."),
    ("fork", study_commands.fork_study, "Start a new study from another's candidates."),
    ("watch", study_commands.watch, "Serve the page of a study while it runs."),
    ("front", result_commands.front, "Show the front as a table."),
    ("show", result_commands.show, "Show one candidate."),
    ("page", result_commands.page, "Write one page to choose a candidate from."),
    ("compare", result_commands.compare, "Compare profiles ride by ride."),
    ("explain", result_commands.explain, "Say which parameters matter and how."),
    ("ride", result_commands.ride, "Ride one profile over all rides."),
    ("validate", profile_commands.validate_profile, "Prove a profile before anybody rides it."),
    ("export", profile_commands.export_profile, "Write a profile with its cautions."),
    ("transfer", profile_commands.transfer, "Rescale a profile for another board."),
    ("report", study_commands.report, "Write tables and figures again."),
    ("demonstrate", profile_commands.demonstrate_sections, "Draw what each section does."),
)
_LOG_COMMANDS = (
    ("example", log_commands.write_example_log, "Write an invented log to try the others on."),
    ("propose", log_commands.propose_mapping, "Write a mapping of the columns to confirm."),
    ("check", log_commands.check_ride_log, "Say what is wrong with a log, and where."),
    ("fit", log_commands.fit_ride_log, "Fit board and controller, with intervals."),
    ("use", log_commands.use_ride_log, "Make a study of what was fitted."),
    ("compare", log_commands.compare_ride_log, "Lay the predicted ride over the log."),
)

app = typer.Typer(
    name="levelgain",
    help=(
        "Choose the balance-controller profile of a self-balancing single-wheel electric board"
        " by simulated rides.\n\nExample: levelgain run hill_town"
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
log_app = typer.Typer(
    name="log",
    help=(
        "Read a log of a real ride: check it, fit the board, compare predicted with measured."
        "\n\nExample: levelgain log check ride.csv"
    ),
    short_help="Check a ride log, fit the board to it, compare.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
for _app, _commands in ((app, _COMMANDS), (log_app, _LOG_COMMANDS)):
    for _name, _command, _short in _commands:
        _app.command(name=_name, short_help=_short)(_command)
app.add_typer(log_app)


def main() -> None:
    """Run the command line; a refused input is one line on standard error and exit code 2."""
    try:
        app()
    except UserInputError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(BAD_INPUT)
    except KeyboardInterrupt:
        sys.stderr.write("Interrupted; nothing that was stored is lost.\n")
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    main()
