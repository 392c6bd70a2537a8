"""A new study from a finished one: its file copied, its front as the profiles to start from."""

import csv
import io
import re
from pathlib import Path

import numpy as np

from optimizer.catalogue import STUDY_FILE
from optimizer.files import make_folder, refuse_existing, write_whole
from optimizer.results import Results
from optimizer.selection import best_first
from optimizer.toml_file import parse_toml
from plant.errors import UserInputError

START_FILE = "start.csv"
_SEARCH = re.compile(r"^\[search\][^\n]*\n", re.MULTILINE)
_KEPT = (".gpx", ".csv", ".npy", ".npz", ".asc", ".txt")  # files that routes of a study may name


def fork(results: Results, folder: Path, *, n_profiles: int) -> int:
    """Make a new study folder from a study's results; return how many profiles it starts from.

    The new study rides everything itself: other riders, courses, boards or bounds make other rides,
    and rides that are the same cost less than a mistake about it.

    Parameters
    ----------
    results : Results
        Of the study to start from.
    folder : Path
        Made where it is missing.
    n_profiles : int
        At most so many of the front go along.

    Raises
    ------
    UserInputError
        The folder holds a study already, the front is empty, or a file can not be written.
    """
    study = results.study
    refuse_existing([folder / STUDY_FILE, folder / START_FILE], advice="name a new folder")
    front = np.flatnonzero(results.on_front)
    if not len(front):
        raise UserInputError(
            f"{study.folder}: none of its {len(results)} candidates meets every constraint,"
            " so there is no front to start from; go on with its search first"
        )
    text = starting_from(study.text, path=folder / STUDY_FILE)
    make_folder(folder)
    for path in sorted(study.folder.iterdir()):
        if path.suffix in _KEPT and path.name != START_FILE and path.is_file():
            write_whole(folder / path.name, path.read_bytes())
    history = results.history
    chosen = front[
        best_first(history.objectives[front], history.constraints[front], n_best=n_profiles)
    ]
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(study.space.names)
    writer.writerows([[repr(value) for value in row] for row in history.values[chosen].tolist()])
    write_whole(folder / START_FILE, table.getvalue())
    write_whole(folder / STUDY_FILE, text)
    return len(chosen)


def starting_from(text: str, *, path: Path) -> str:
    """Return a study file's text with the key that names the profiles to start from.

    Raises
    ------
    UserInputError
        The table [search] is written in a way into which no line can be put.
    """
    written = parse_toml(text, path=path)
    if "start" in written.get("search", {}):
        return text  # it starts from such a file already, which is replaced
    line = f'start = "{START_FILE}"\n'
    if _SEARCH.search(text):
        text = _SEARCH.sub(lambda found: found.group(0) + line, text, count=1)
    else:
        text = f"{text.rstrip()}\n\n[search]\n{line}"
    try:
        parse_toml(text, path=path)
    except UserInputError:
        raise UserInputError(
            f"{path}: search: must stand as a table [search] of its own for a start to be put in;"
            " write it so, then fork again"
        ) from None
    return text
