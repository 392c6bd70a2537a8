"""The command `levelgain`: which commands there are, and how they end when they do not end well."""

import errno
import io
import os
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Annotated, Any

import typer

from optimizer.base.database_url import masked
from optimizer.base.errors import ArgumentError, UserInputError
from optimizer.base.printable import one_line
from optimizer.cli.commands import (
    advise,
    catalogue,
    check,
    compare,
    demonstrate,
    explain,
    export,
    page,
    repair,
    repeat,
    results,
    ride,
    ridelog,
    run,
    study,
    transfer,
    validate,
    versions,
)
from optimizer.cli.exit_codes import BAD_INPUT, INTERRUPTED, OUTPUT_LOST, PIPE_CLOSED
from optimizer.cli.grouped_help import GroupedHelp

app = typer.Typer(
    name="levelgain",
    cls=GroupedHelp,
    help=(
        "Choose the settings of the balance controller (a profile) of a self-balancing single-wheel"
        " electric board by simulated rides. It is no ride test: these boards throw people."
        "\n\nExample: levelgain run hill_town"
        "\n\nA study of your own: levelgain new my_board"
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
log_app = typer.Typer(
    name="log",
    help=(
        "Read a log of a real ride: check it, fit the board, compare predicted with measured."
        " In this order: propose, check, fit, use, compare."
        "\n\nExample: levelgain log check ride.csv"
    ),
    short_help="Check a ride log, fit the board to it, compare.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


def _say_version(asked: bool) -> None:
    if asked:
        typer.echo(f"levelgain {version('levelgain')}")
        raise typer.Exit


@app.callback()
def levelgain(
    asked: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Say the version."),
    ] = False,
) -> None:
    """Take the options that stand before a command."""


# In the order in which a user meets them.
START, SEARCH, CHOOSE, PROVE, LEARN = "Start", "Search", "Choose", "Prove and hand over", "Other"
app.command("new", rich_help_panel=START)(study.new)
app.command("check", rich_help_panel=START)(check.check)
app.command("list", rich_help_panel=START)(catalogue.list_studies)
app.command("catalogue", rich_help_panel=START)(catalogue.catalogue)
app.command("schema", rich_help_panel=START)(catalogue.schema)
app.command("run", rich_help_panel=SEARCH)(run.run)
app.command("resume", rich_help_panel=SEARCH)(run.resume)
app.command("repeat", rich_help_panel=SEARCH)(repeat.repeat)
app.command("fork", rich_help_panel=SEARCH)(study.fork_study)
app.command("watch", rich_help_panel=SEARCH)(page.watch)
app.command("repair", rich_help_panel=SEARCH)(repair.repair)
app.command("front", rich_help_panel=CHOOSE)(results.front)
app.command("show", rich_help_panel=CHOOSE)(results.show)
app.command("page", rich_help_panel=CHOOSE)(page.page)
app.command("compare", rich_help_panel=CHOOSE)(compare.compare)
app.command("explain", rich_help_panel=CHOOSE)(explain.explain)
app.command("advise", rich_help_panel=CHOOSE)(advise.advise)
app.command("report", rich_help_panel=CHOOSE)(study.report)
app.command("ride", rich_help_panel=PROVE)(ride.ride)
app.command("validate", rich_help_panel=PROVE)(validate.validate_profile)
app.command("export", rich_help_panel=PROVE)(export.export_profile)
app.command("transfer", rich_help_panel=PROVE)(transfer.transfer)
app.command("demonstrate", rich_help_panel=LEARN)(demonstrate.demonstrate_sections)
app.command("versions", rich_help_panel=LEARN)(versions.versions)
log_app.command("example")(ridelog.write_example_log)
log_app.command("propose")(ridelog.propose_mapping)
log_app.command("check")(ridelog.check_ride_log)
log_app.command("fit")(ridelog.fit_ride_log)
log_app.command("use")(ridelog.use_ride_log)
log_app.command("compare")(ridelog.compare_ride_log)
app.add_typer(log_app, rich_help_panel=LEARN)

# What commands, arguments and options raise where they are mistyped: releases of typer have no name
# in common for it.
_MISTAKES: Any = typer.BadParameter.__base__
# Of standard output, which alone has no name: what commands write to files is refused by name.
_OUTPUT_FAULTS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF)
_OTHER_NAMES = {"until_gain_percent": "until_gain"}  # options, by what Python calls them
_HELP_INSTEAD = "NoArgsIsHelpError"  # of them: nothing was typed, and help is the answer


def main() -> None:
    """Run the command line; a refused input is one line on standard error and exit code 2."""
    _prepare_streams()
    try:
        code = app(standalone_mode=False)
        sys.stdout.flush()  # here, where what goes wrong can still be said
        sys.exit(code)
    except _MISTAKES as mistake:
        sys.stderr.write(masked(_in_a_line(mistake)))
        sys.exit(BAD_INPUT)
    except ValueError as error:
        if not _is_refusal(error):
            raise
        sys.stderr.write(masked(f"{one_line(_of_option(error))}\n"))
        sys.exit(BAD_INPUT)
    except (BrokenPipeError, SystemExit) as ended:
        # Typer leaves by itself where it meets a closed pipe.
        if BrokenPipeError not in (type(ended), type(ended.__context__)):
            raise
        _drop_output()
        sys.exit(PIPE_CLOSED)
    except OSError as error:
        if error.filename is not None or error.errno not in _OUTPUT_FAULTS:
            raise
        _drop_output()
        sys.stderr.write(f"levelgain: the output can not be written: {error.strerror}\n")
        sys.exit(OUTPUT_LOST)
    except KeyboardInterrupt:
        sys.stderr.write("Interrupted; nothing that was stored is lost.\n")
        sys.exit(INTERRUPTED)


def _prepare_streams() -> None:
    """Let the streams take any text; leave where there is no standard output at all."""
    # Python has None for a stream that the shell closed. A file that a command opens would take
    # the place of standard output, and what is printed would go into it.
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  # it stays open
    if sys.stdout is None:
        sys.stderr.write("levelgain: standard output is closed; send it to a file or a pipe\n")
        sys.exit(OUTPUT_LOST)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _drop_output() -> None:
    """Let standard output lead nowhere, or Python would fail again as it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _in_a_line(mistake: Any) -> str:
    """Return what is wrong with what was typed, and where help is; or the help, if it is that."""
    said: str = mistake.format_message()
    if type(mistake).__name__ == _HELP_INSTEAD:
        return f"{said}\n"
    command = mistake.ctx.command_path if mistake.ctx else str(app.info.name)
    said = said.replace("Value error, ", "").removesuffix(".")
    return f"{one_line(f'{command}: {said}')} (help: {command} --help)\n"


def _of_option(error: ValueError) -> str:
    """Return what an error says; of an argument of Python it says it of the option."""
    if not isinstance(error, ArgumentError):
        return str(error)
    name = _OTHER_NAMES.get(error.argument, error.argument).replace("_", "-")
    return f"--{name}: {error.fault}"


def _is_refusal(error: ValueError) -> bool:
    """Return whether an error is one line for the user: of what was given, or of the GPU."""
    from plant.cuda.available import CudaMissingError

    return isinstance(error, UserInputError | CudaMissingError)


if __name__ == "__main__":
    main()
