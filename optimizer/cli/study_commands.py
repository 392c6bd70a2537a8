"""Commands that make, check and run a study: what they are asked, and what their help says."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.cli.lazy import done_by
from optimizer.cli.options import AsJson, Folder, Jobs, NewFolder

Candidates = Annotated[
    int | None,
    typer.Option(min=1, metavar="N", help="Candidates to ride in all; default: study.toml's."),
]
Database = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help="postgresql:// address at which machines share the study; default: study.toml's.",
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="tcp:// address of a Dask scheduler whose workers ride."),
]


@done_by("optimizer.cli.commands.new")
def new(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder to make.", show_default=False)
    ],
    example: Annotated[
        str | None, typer.Option(metavar="NAME", help="Copy a packaged example, such as hill_town.")
    ] = None,
) -> None:
    """Make a new study folder.

    Example: levelgain new my_board
    """


@done_by("optimizer.cli.commands.check")
def check(folder: Folder, as_json: AsJson = False) -> None:
    """Check a study file and this machine, and say how long the study will take.

    Example: levelgain check my_board
    """


@done_by("optimizer.cli.commands.run")
def run(
    folder: Folder,
    candidates: Candidates = None,
    jobs: Jobs = None,
    database: Database = None,
    cluster: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Ride candidates, search the trade-off and write the results.

    A folder that does not exist and has the name of a packaged example is made from it.
    Ctrl-C stops after the generation that is being ridden; `levelgain resume` goes on.

    Example: levelgain run my_board --candidates 6000
    """


@done_by("optimizer.cli.commands.run")
def resume(
    folder: Folder,
    candidates: Candidates = None,
    jobs: Jobs = None,
    database: Database = None,
    cluster: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Go on with a study that was stopped or killed, or extend a finished one.

    Example: levelgain resume my_board --candidates 12000
    """


@done_by("optimizer.cli.commands.study")
def fork_study(
    folder: Folder,
    new_folder: NewFolder,
    profiles: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Take only the N best of the front; default: all."),
    ] = None,
) -> None:
    """Make a new study from another's candidates, to change and to run.

    Rides of the same profile, rider, board, course and seed are not ridden again. For another
    board or seed, where all is ridden anew, take the best alone with --profiles 24.

    Example: levelgain fork my_board my_other_riders
    """


@done_by("optimizer.cli.commands.study")
def report(folder: Folder) -> None:
    """Write the tables and figures of a study again, from its store.

    Example: levelgain report my_board
    """


@done_by("optimizer.cli.commands.watch")
def watch(
    folder: Folder,
    port: Annotated[
        int, typer.Option(min=0, max=65535, metavar="N", help="Port; 0: any that is free.")
    ] = 8411,
) -> None:
    """Serve the page of a study on this machine only, beside `levelgain run` in a second terminal.

    Example: levelgain watch my_board
    """
