"""A first study file for a new folder: the template, or a packaged example."""

import re
from pathlib import Path

from optimizer.base.atomic_files import copy_whole, refuse_existing, write_whole
from optimizer.base.errors import ArgumentError
from optimizer.base.reading import read_text
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.own_board import (
    NOTHING_SAID,
    OwnBoard,
    board_lines,
    rider_lines,
    rider_name,
)
from optimizer.study.paths import STUDY_FILE

_TEMPLATE = STUDIES_FOLDER / "template" / STUDY_FILE
# Lines of the template that give way to those of a board and riders of one's own.
_BOARD_EXAMPLES = re.compile(r"^# motor = \"(?:.*\n)+?(?=\n)", re.MULTILINE)
_RIDERS = re.compile(r"(?<=^\[riders\]\n)use = .*\n(?:# .*\n)+", re.MULTILINE)
_EXAMPLE_RIDER = "baker_80"


def write_template(folder: Path, own: OwnBoard = NOTHING_SAID) -> Path:
    """Write a short, commented study file and return its path.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    own : OwnBoard
        What is known of the board and its riders; the catalogue's where nothing is said.

    Raises
    ------
    UserInputError
        The folder holds a study already, or can not be written; or there can be no such board.
    """
    path = folder / STUDY_FILE
    refuse_existing([path], advice="edit it, or name a new folder")
    write_whole(path, template_text(own))
    return path


def template_text(own: OwnBoard = NOTHING_SAID) -> str:
    """Return the text of the study file that `write_template` writes.

    Raises
    ------
    UserInputError
        There can be no such board, or no such riders.
    """
    text = read_text(_TEMPLATE)
    if lines := board_lines(own):
        text = _with_lines(text, _BOARD_EXAMPLES, lines)
    if lines := rider_lines(own):
        text = _with_lines(text, _RIDERS, lines)
        # An example of one rider alone names one that is there.
        text = text.replace(_EXAMPLE_RIDER, rider_name(own.rider_masses_kg[0]))
    return text


def _with_lines(text: str, replaced: re.Pattern[str], lines: list[str]) -> str:
    """Return the template with lines of its own in place of some that stand there once."""
    new, times = replaced.subn("".join(f"{line}\n" for line in lines), text)
    if times != 1:
        raise RuntimeError(f"{_TEMPLATE}: must match {replaced.pattern!r} once, does {times} times")
    return new


def write_example(folder: Path, name: str) -> Path:
    """Copy a packaged example into a folder and return the path of its study file.

    Raises
    ------
    UserInputError
        There is no such example, or the folder holds one of its files already.
    """
    source = STUDIES_FOLDER / name
    if not (source / STUDY_FILE).is_file():
        found = sorted(
            path.parent.name
            for path in STUDIES_FOLDER.glob(f"*/{STUDY_FILE}")
            if path.parent.name != "template"
        )
        raise ArgumentError("example", f"there is no {name!r}; there are {', '.join(found)}")
    files = sorted(path for path in source.iterdir() if path.suffix in (".toml", ".gpx", ".csv"))
    copy_whole(files, folder)
    return folder / STUDY_FILE
