"""Commands that prove and hand over a profile: what they are asked, and what their help says."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.cli.lazy import done_by
from optimizer.cli.options import (
    AsJson,
    AsJsonAlone,
    Folder,
    Force,
    Jobs,
    Profile,
    Which,
    WhichIfAny,
    completing,
)


@done_by("optimizer.cli.commands.validate")
def validate_profile(
    folder: Folder,
    which: WhichIfAny = None,
    profile: Profile = None,
    hours: Annotated[
        float | None,
        typer.Option(min=0.1, metavar="H", help="Hours of mixed riding; default: study.toml's."),
    ] = None,
    jobs: Jobs = None,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Default: FOLDER/validation.")
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Prove a profile on rides it was not tuned on; the baseline when none is named.

    Example: levelgain validate my_board balanced
    """


@done_by("optimizer.cli.commands.export")
def export_profile(
    folder: Folder,
    which: Which,
    format_name: Annotated[
        str,
        typer.Option(
            "--format",
            metavar="NAME",
            help="toml, json, c, or all.",
            autocompletion=completing("toml", "json", "c", "all"),
        ),
    ] = "all",
    template: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A Jinja2 template of your own, besides.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Default: FOLDER/exports.")
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Write a chosen profile with its provenance and cautions.

    Example: levelgain export my_board balanced --format c
    """


@done_by("optimizer.cli.commands.transfer")
def transfer(
    folder: Folder,
    new_folder: Annotated[
        Path,
        typer.Argument(
            metavar="NEW_FOLDER",
            help="Folder of a study with the other board.",
            show_default=False,
        ),
    ],
    which: WhichIfAny = None,
    profile: Profile = None,
    candidates: Annotated[
        int, typer.Option(min=1, metavar="N", help="Of the short search from it.")
    ] = 480,
    jobs: Jobs = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Rescale a profile for another motor, wheel or pack, ride it there, and say how good it is.

    Example: levelgain transfer my_board my_other_board balanced
    """


@done_by("optimizer.cli.commands.demonstrate")
def demonstrate_sections(
    to: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="For the page; default: here.", show_default=False),
    ] = Path(),
    as_json: AsJsonAlone = False,
    force: Force = False,
) -> None:
    """Draw a page of what each section of a profile does, with and without it.

    Example: levelgain demonstrate figures
    """
