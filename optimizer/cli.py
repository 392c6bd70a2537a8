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
app.command()(commands_study.new)
app.command()(commands_study.check)
app.command()(commands_study.run)
app.command()(commands_study.resume)
app.command(name="fork")(commands_study.fork_study)
app.command()(commands_results.front)
app.command()(commands_results.show)
app.command()(commands_results.ride)
app.command()(commands_page.page)
app.command()(commands_page.watch)
app.command(name="export")(commands_results.export_profile)
app.command()(commands_compare.compare)
app.command()(commands_explain.explain)
app.command()(commands_transfer.transfer)
app.command(name="validate")(commands_validate.validate_profile)
app.command()(commands_study.report)
app.command(name="demonstrate")(commands_demonstrate.demonstrate_sections)

app.add_typer(commands_ridelog.log_app)


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
