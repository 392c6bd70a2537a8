"""A new study from another's candidates: its file, its profiles to start from, and their rides."""

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.analysis.added_courses import with_courses
from optimizer.analysis.results import Results
from optimizer.analysis.study_folder import appearing_whole, files_along, start_name
from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.errors import UserInputError
from optimizer.base.toml_io import parse_toml
from optimizer.execution.evaluate import whole_profiles
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.execution.ride_archive import Part, Ridden, inputs_of, versions_of, write_ridden
from optimizer.execution.store import read_table
from optimizer.search.evaluation import BASELINE
from optimizer.search.ranking import best_first
from optimizer.study.paths import RIDDEN_FILE, START_FILE, STUDY_FILE, store_path

Numbers = NDArray[np.intp]

_SEARCH = re.compile(r"^\[search\][^\n]*\n", re.MULTILINE)


def fork(
    results: Results,
    folder: Path,
    *,
    n_profiles: int | None = None,
    text: str | None = None,
    falls: Sequence[Path] = (),
) -> int:
    """Make a new study folder from a study's results; return how many profiles it starts from.

    The folder holds all that it needs: the study file, the files inside the study's folder that it
    names, profiles to start from, and how they rode. What of those rides holds for the new study is
    found out when it is run, after it was changed. A file that is named by its whole path stays
    where it is. The folder appears whole, so a fork that was killed can be repeated.

    Parameters
    ----------
    results : Results
        Of the study to start from.
    folder : Path
        Made where it is missing.
    n_profiles : int, optional
        At most so many go along, the best of the front; all candidates where it is not given.
    text : str, optional
        Of the new study's file, where it is changed already; the old study's if not given.
    falls : sequence of Path
        Files of courses that a validation wrote; their courses are added to the study's.

    Raises
    ------
    UserInputError
        The folder holds a study already, the front is asked for and empty, a file that the study
        names lies outside its folder, courses can not be added, or a file can not be written.
    """
    study = results.study
    text = study.text if text is None else text
    written = parse_toml(text, path=study.folder / STUDY_FILE)
    start = start_name(written, study.folder)
    named = [
        path
        for path in files_along(written, study.folder, folder)
        if path.as_posix() not in (start, RIDDEN_FILE)
    ]
    tops = {STUDY_FILE, start, RIDDEN_FILE, *(path.parts[0] for path in named)}
    refuse_existing([folder / name for name in sorted(tops)], advice="name a new folder")
    numbers = _taken(results, n_profiles)
    text = starting_from(text, path=folder / STUDY_FILE)
    for path in falls:
        text = with_courses(text, path, riders=study.riders, to=folder / STUDY_FILE)
    with appearing_whole(folder) as new:
        for path in named:
            write_whole(new / path, (study.folder / path).read_bytes())
        write_whole(new / start, _start_table(results, numbers))
        write_ridden(new / RIDDEN_FILE, _ridden(results, np.append(BASELINE, numbers)))
        write_whole(new / STUDY_FILE, text)
    return len(numbers)


def _taken(results: Results, n_profiles: int | None) -> Numbers:
    """Return the numbers of the candidates that go along, less the baseline."""
    if n_profiles is None:
        return np.arange(BASELINE + 1, len(results))
    front = np.flatnonzero(results.on_front)
    if not len(front):
        raise UserInputError(
            f"{results.study.folder}: none of its {len(results)} candidates meets every constraint,"
            " so there is no front to start from; go on with its search first, or take all"
            " candidates along and not the best alone"
        )
    history = results.history
    best = best_first(history.objectives[front], history.constraints[front], n_best=len(front))
    chosen: Numbers = front[best]
    chosen = chosen[chosen != BASELINE]
    return chosen[:n_profiles]


def _start_table(results: Results, numbers: Numbers) -> str:
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(results.study.space.names)
    values = results.history.values[numbers].tolist()
    writer.writerows([[repr(value) for value in row] for row in values])
    return table.getvalue()


def _ridden(results: Results, numbers: Numbers) -> Ridden:
    """Return all rides of candidates: those of the search and those of the re-evaluation."""
    study = results.study
    table = read_table(store_path(study.folder))
    profiles = whole_profiles(study, table.history.values)
    reevaluation = table.reevaluation
    again = np.isin(reevaluation.numbers, numbers)
    parts = [
        Part(
            rides=tuple(map(inputs_of, study.all_rides)),
            profiles=profiles[numbers],
            columns=table.rides[numbers],
        )
    ]
    if again.any():
        parts.append(
            Part(
                rides=tuple(map(inputs_of, on_fresh_noise(study).all_rides)),
                profiles=profiles[reevaluation.numbers[again]],
                columns=reevaluation.evaluation.rides[again],
            )
        )
    return Ridden(versions=versions_of(table.frozen), parts=tuple(parts))


def starting_from(text: str, *, path: Path) -> str:
    """Return a study file's text with the key that names the profiles to start from.

    The line is put in by hand because tomlkit appends it at the end of the table, below the comment
    that stands before the next one.

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
        put = "start" in parse_toml(text, path=path).get("search", {})
    except UserInputError:
        put = False
    if not put:
        raise UserInputError(
            f"{path}: search: must stand as a table [search] of its own for a start to be put in;"
            " write it so, then fork again"
        )
    return text
