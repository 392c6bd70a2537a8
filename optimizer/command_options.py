"""Arguments and options that several commands share."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.pick_names import PICKS


def _picks(incomplete: str) -> list[str]:
    """Return the picks that a shell can complete a word to."""
    return [name for name in PICKS if name.startswith(incomplete)]


Folder = Annotated[Path, typer.Argument(help="Folder of the study.", show_default=False)]
Which = Annotated[
    str,
    typer.Argument(
        help="A candidate's number, or the name of a pick.",
        show_default=False,
        autocompletion=_picks,
    ),
]
WhichIfAny = Annotated[
    str | None,
    typer.Argument(
        help="A candidate's number, or the name of a pick.",
        show_default=False,
        autocompletion=_picks,
    ),
]
Profile = Annotated[Path | None, typer.Option(help="A profile file of your own.")]
Jobs = Annotated[int | None, typer.Option(min=1, help="Threads; default: all cores.")]
Force = Annotated[bool, typer.Option("--force", help="Replace earlier files.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]
