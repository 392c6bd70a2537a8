"""Arguments and options that several commands share."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.pick_names import BASELINE_NAME, PICKS
from optimizer.base.printable import printable
from plant.device import Device

_LONGEST_NAME = 255  # bytes of a file's name: NAME_MAX of the usual file systems


def completing(*words: str) -> Callable[[str], list[str]]:
    """Return the function by which a shell completes the beginning of one of the words."""

    def complete(incomplete: str) -> list[str]:
        return [word for word in words if word.startswith(incomplete)]

    return complete


def named(text: str | Path) -> Path:
    """Return the path of a file or folder that is named on the command line.

    Raises
    ------
    typer.BadParameter
        The name is empty, which would be the current folder, longer than a system takes, or holds
        characters that a terminal does not show.
    """
    if not str(text).strip():
        raise typer.BadParameter("the name is empty; '.' is the current folder")
    if printable(str(text)) != str(text) or "\n" in str(text):
        raise typer.BadParameter("a name must be of printable characters; rename it")
    longest = max((len(os.fsencode(part)) for part in Path(text).parts), default=0)
    if longest > _LONGEST_NAME:
        raise typer.BadParameter(
            f"a name may have up to {_LONGEST_NAME} bytes, got {longest}; shorten it"
        )
    return Path(text)


FOLDER = typer.Argument(
    parser=named, metavar="FOLDER", help="Folder of the study.", show_default=False
)
CANDIDATE = typer.Argument(
    metavar="CANDIDATE",
    help="A candidate's number, or the name of a pick.",
    show_default=False,
    autocompletion=completing(*PICKS),
)

Folder = Annotated[Path, FOLDER]
NewFolder = Annotated[
    Path,
    typer.Argument(parser=named, metavar="NEW_FOLDER", help="Folder to make.", show_default=False),
]
Which = Annotated[str, CANDIDATE]
AnyProfile = Annotated[
    str,
    typer.Argument(
        metavar="PROFILE",
        help="A number, a pick, 'baseline', or a file: TOML or JSON.",
        show_default=False,
        autocompletion=completing(BASELINE_NAME, *PICKS),
    ),
]
WhichIfAny = Annotated[str | None, CANDIDATE]
Profile = Annotated[
    Path | None,
    typer.Option(parser=named, metavar="FILE", help="A profile file of your own: TOML or JSON."),
]
Jobs = Annotated[
    int | None,
    typer.Option(min=1, max=4096, metavar="N", help="Threads; default: all cores."),
]
OnDevice = Annotated[
    Device | None,
    typer.Option("--device", metavar="NAME", help="cpu or cuda (a GPU); default: study.toml's."),
]
Force = Annotated[bool, typer.Option("--force", help="Replace earlier files.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]
AsJsonAlone = Annotated[bool, typer.Option("--json", help="Print JSON, write nothing.")]
