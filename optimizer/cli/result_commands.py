"""Commands that look at what a study found: what they are asked, and what their help says."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.pick_names import PICKS
from optimizer.cli.lazy import done_by
from optimizer.cli.options import (
    AsJson,
    AsJsonAlone,
    Folder,
    Force,
    Jobs,
    Profile,
    Which,
    completing,
)


@done_by("optimizer.cli.commands.results")
def front(
    folder: Folder,
    sort: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Column to sort by; -NAME: largest first."),
    ] = None,
    where: Annotated[
        list[str] | None,
        typer.Option(metavar="TEXT", help="Condition, such as 'level_error_deg<2.5'."),
    ] = None,
    limit: Annotated[int, typer.Option(min=1, metavar="N", help="Rows to show.")] = 20,
    all_candidates: Annotated[bool, typer.Option("--all", help="Not only the front.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show the front as a table.

    Example: levelgain front my_board --where 'level_error_deg<2.5'
    """


@done_by("optimizer.cli.commands.results")
def show(folder: Folder, which: Which, as_json: AsJson = False) -> None:
    """Show one candidate: parameters, objectives, constraints and worst rides.

    Example: levelgain show my_board balanced
    """


@done_by("optimizer.cli.commands.page")
def page(
    folder: Folder,
    extra: Annotated[
        list[str] | None,
        typer.Option(
            "--with", metavar="CANDIDATE", help="A candidate to tell in full, whatever the room."
        ),
    ] = None,
    to: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Default: FOLDER/results/page.html.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file named by --to.")] = False,
) -> None:
    """Write a study as one HTML page to choose a candidate from, offline.

    Example: levelgain page my_board
    """


@done_by("optimizer.cli.commands.compare")
def compare(
    folder: Folder,
    profiles: Annotated[
        list[str],
        typer.Argument(
            metavar="PROFILES",
            help="Two or more: numbers, picks, 'baseline', or files.",
            show_default=False,
            autocompletion=completing("baseline", *PICKS),
        ),
    ],
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Default: FOLDER/comparison.")
    ] = None,
    jobs: Jobs = None,
    force: Force = False,
    as_json: AsJsonAlone = False,
) -> None:
    """Compare profiles over all rides of a study; the first is what the others are held against.

    Example: levelgain compare my_board baseline balanced mine.toml
    """


@done_by("optimizer.cli.commands.explain")
def explain(
    folder: Folder,
    which: Which,
    jobs: Jobs = None,
    as_json: AsJson = False,
) -> None:
    """Say which parameters matter and what each does around a candidate, by riding again.

    Example: levelgain explain my_board balanced
    """


@done_by("optimizer.cli.commands.results")
def ride(
    folder: Folder,
    candidate: Annotated[
        str | None,
        typer.Option(
            metavar="CANDIDATE",
            help="Its number, or the name of a pick.",
            autocompletion=completing(*PICKS),
        ),
    ] = None,
    profile: Profile = None,
    jobs: Annotated[int, typer.Option(min=1, metavar="N", help="Threads.")] = 1,
    as_json: AsJson = False,
) -> None:
    """Ride one profile over all rides of a study; the baseline when none is named.

    Example: levelgain ride my_board --profile exports/candidate_12.toml
    """
