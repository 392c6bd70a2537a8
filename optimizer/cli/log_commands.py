"""Commands that turn a ride log into a plant: what they are asked, and what their help says."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.cli.lazy import done_by
from optimizer.cli.options import AsJson, Force, NewFolder

Log = Annotated[
    Path, typer.Argument(metavar="LOG", help="The ride log: CSV or Parquet.", show_default=False)
]
MappingFile = Annotated[
    Path | None,
    typer.Option("--mapping", metavar="FILE", help="Default: the log's name with .mapping.toml."),
]


@done_by("optimizer.cli.commands.ridelog")
def write_example_log(
    folder: Annotated[Path, typer.Argument(help="New folder.", show_default=False)],
) -> None:
    """Write an invented log with its mapping, to try the other commands on.

    Example: levelgain log example tried
    """


@done_by("optimizer.cli.commands.ridelog")
def propose_mapping(log: Log, mapping: MappingFile = None) -> None:
    """Write a mapping of the log's columns for you to check and confirm.

    Example: levelgain log propose ride.csv
    """


@done_by("optimizer.cli.commands.ridelog")
def check_ride_log(log: Log, mapping: MappingFile = None, as_json: AsJson = False) -> None:
    """Read the whole log and say what is wrong with it, and where.

    Example: levelgain log check ride.csv
    """


@done_by("optimizer.cli.commands.ridelog")
def fit_ride_log(
    log: Log,
    mapping: MappingFile = None,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Default: the log's name with .fit.")
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Fit board and controller to the log, with 95 % intervals, and say what it can not tell.

    Example: levelgain log fit ride.csv
    """


@done_by("optimizer.cli.commands.ridelog")
def use_ride_log(
    log: Log,
    folder: NewFolder,
    mapping: MappingFile = None,
) -> None:
    """Make a study of the fitted board, the ridden route and the profile that was ridden.

    Example: levelgain log use ride.csv my_board
    """


@done_by("optimizer.cli.commands.ridelog")
def compare_ride_log(
    log: Log,
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", help="Study made with `levelgain log use`.", show_default=False
        ),
    ],
    mapping: MappingFile = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Ride the logged speeds and route in the plant, and lay prediction over measurement.

    Example: levelgain log compare ride.csv my_board
    """
