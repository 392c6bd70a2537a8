"""Arguments and options that several commands share."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.pick_names import PICKS
from plant.device import Device


def completing(*words: str) -> Callable[[str], list[str]]:
    """Return the function by which a shell completes the beginning of one of the words."""

    def complete(incomplete: str) -> list[str]:
        return [word for word in words if word.startswith(incomplete)]

    return complete


FOLDER = typer.Argument(metavar="FOLDER", help="Folder of the study.", show_default=False)
CANDIDATE = typer.Argument(
    metavar="CANDIDATE",
    help="A candidate's number, or the name of a pick.",
    show_default=False,
    autocompletion=completing(*PICKS),
)

Folder = Annotated[Path, FOLDER]
NewFolder = Annotated[
    Path, typer.Argument(metavar="NEW_FOLDER", help="Folder to make.", show_default=False)
]
Which = Annotated[str, CANDIDATE]
WhichIfAny = Annotated[str | None, CANDIDATE]
Profile = Annotated[Path | None, typer.Option(metavar="FILE", help="A profile file of your own.")]
Jobs = Annotated[int | None, typer.Option(min=1, metavar="N", help="Threads; default: all cores.")]
OnDevice = Annotated[
    Device | None,
    typer.Option("--device", metavar="NAME", help="cpu or cuda (a GPU); default: study.toml's."),
]
Force = Annotated[bool, typer.Option("--force", help="Replace earlier files.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]
AsJsonAlone = Annotated[bool, typer.Option("--json", help="Print JSON, write nothing.")]
