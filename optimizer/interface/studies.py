"""Studies: read from a folder, made in a new one, and run."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import tomli_w

from optimizer.analysis import fork as forking
from optimizer.analysis.results import Results, read_results
from optimizer.analysis.searched_feels import FeelsSoFar
from optimizer.analysis.statics_text import hopeless_rides
from optimizer.analysis.study_warnings import study_warnings
from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.errors import ArgumentError, StudyFileError, caused_by
from optimizer.base.reading import read_text
from optimizer.execution.asked_candidates import Asked
from optimizer.execution.backends import Machines
from optimizer.execution.devices import on_device
from optimizer.execution.named_database import database_of
from optimizer.execution.run import reevaluate_front, run_study
from optimizer.interface.file_path import FilePath
from optimizer.interface.progress import CalledBack, OnProgress, Progress, unwatched
from optimizer.interface.search_progress import REEVALUATION, searched
from optimizer.interface.stopping_rules import stopping_rules
from optimizer.interface.threads import n_threads
from optimizer.study import load
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.limits import MOST_CANDIDATES
from optimizer.study.own_board import NOTHING_SAID, OwnBoard
from optimizer.study.paths import STUDY_FILE, store_path
from optimizer.study.study import Study
from optimizer.study.templates import template_text, write_example
from plant.device import Device


def load_study(folder: FilePath) -> Study:
    """Return the checked study of a folder.

    Parameters
    ----------
    folder : path
        Holds study.toml.

    Raises
    ------
    StudyFileError
        Something in the file is not allowed, or a file that it names can not be read; one line.
    """
    return load.load_study(Path(folder))


def new_study(
    folder: FilePath,
    *,
    example: str | None = None,
    tables: Mapping[str, Any] | None = None,
    motor_kv: float | None = None,
    cells: int | None = None,
    wheel: float | None = None,
    riders: Sequence[float] = (),
) -> Study:
    """Return the checked study of a folder that is made for it.

    A folder that holds the same study file already is read as it is, so that a notebook can be run
    again from its top.

    Parameters
    ----------
    folder : path
        Made where it is missing.
    example : str, optional
        Name of a packaged example, such as "hill_town".
    tables : mapping, optional
        What stands in study.toml, as nested mappings; the template of `levelgain new` if neither is
        given.
    motor_kv : float, optional
        Kv of your motor in rpm/V. It goes into the template, as do the next ones, with limits and
        losses in proportion.
    cells : int, optional
        Cells in series of your pack.
    wheel : float, optional
        Diameter of your wheel in m.
    riders : sequence of float
        Masses of your riders in kg.

    Raises
    ------
    FileError
        The folder holds another study, or can not be written.
    StudyFileError
        There is no such example, there can be no such board or riders, or something in the tables
        is not allowed; nothing is kept.
    ValueError
        More than one of an example, tables and a board of your own is given.
    """
    own = OwnBoard(
        kv_rpm_per_v=motor_kv,
        cells_in_series=cells,
        wheel_diameter_m=wheel,
        rider_masses_kg=tuple(riders),
    )
    given = [
        what
        for what, is_given in (
            ("an example", example is not None),
            ("tables", tables is not None),
            ("a board or riders of your own", own != NOTHING_SAID),
        )
        if is_given
    ]
    if len(given) > 1:
        raise ValueError(f"give one of these alone, got {' and '.join(given)}")
    folder = Path(folder)
    path = folder / STUDY_FILE
    if tables is not None:
        return _written(path, tomli_w.dumps(tables))
    if example is None:
        with caused_by(StudyFileError):
            text = template_text(own)
        return _written(path, text)
    source = STUDIES_FOLDER / example / STUDY_FILE
    if not (path.exists() and source.exists() and read_text(path) == read_text(source)):
        with caused_by(StudyFileError):
            write_example(folder, example)
    return load.load_study(folder)


def _written(path: Path, text: str) -> Study:
    """Return the study of a text, whose file is kept only if it is allowed."""
    if path.exists() and read_text(path) == text:
        return load.load_study(path.parent)
    refuse_existing([path], advice="load it, or name a new folder")
    write_whole(path, text)
    try:
        return load.load_study(path.parent)
    except StudyFileError:
        path.unlink()
        raise


def run(
    study: Study,
    *,
    candidates: int | None = None,
    minutes: float | None = None,
    until_gain_percent: float | None = None,
    jobs: int | None = None,
    on_progress: OnProgress = unwatched,
    notice: Callable[[str], None] = print,
    stop: Callable[[], bool] = lambda: False,
    database: str | None = None,
    cluster: str | None = None,
    device: Device | None = None,
) -> Results:
    """Return the results of a study after running it, or going on with it, to its end.

    Simulates candidates until the study's folder holds as many as are wanted, then evaluates the
    front again on fresh noise. An interruption at any time loses no finished generation: the same
    call goes on, and a finished study is only read. A run that `minutes` or `until_gain_percent`
    end is finished; a call that wants more candidates goes on.

    Parameters
    ----------
    study : Study
    candidates : int, optional
        How many are wanted, rounded up to whole generations; the study's own number if not given.
    minutes : float, optional
        The search ends with the generation in which so many minutes have passed since the call;
        the re-evaluation of the front comes after them.
    until_gain_percent : float, optional
        The search ends once the last 1,000 candidates gained less than this of the front's
        hypervolume and of the best cost. That follows from candidates and weights alone, so the
        search ends at the same one after an interruption, and on any number of threads or machines.
    jobs : int, optional
        Threads; all cores if not given. Results do not depend on it.
    on_progress : callable, optional
        Called with a `Progress` after each generation and each batch of the re-evaluation, and
        before them as hard rides are looked for; its note says what the front is like so far.
    notice : callable, optional
        Called with what no profile can hold by statics, what is reused, when the run before was
        killed, why a search ends before all candidates are ridden, and why one stops whose first
        generations ride some ride never to its end.
    stop : callable, optional
        Asked between generations; True ends the run, with what is finished as the results.
    database, cluster : str, optional
        Addresses of machines that share the work, as of `levelgain run`. A database that the study
        file names is used once you have agreed to it, there or with `database=study.database`.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given. Results do not
        depend on it.

    Raises
    ------
    UserInputError
        So many candidates or minutes, or such a gain, are not allowed.
    StoreError
        The store is damaged, in use, or was started with other inputs.
    NotStartedError
        It was stopped before the first generation was finished.
    MachineError
        The database, the cluster or the GPU can not be used, or the study file names a database to
        which you have not agreed.
    """
    if candidates is not None and not 1 <= candidates <= MOST_CANDIDATES:
        raise ArgumentError(
            "candidates", f"must be from 1 to {MOST_CANDIDATES:,}, got {candidates:,}"
        )
    feels = FeelsSoFar(study)
    enough = stopping_rules(study, feels, minutes=minutes, until_gain_percent=until_gain_percent)
    study = on_device(study, device)
    n_jobs = n_threads(jobs)
    machines = Machines(database=database_of(study, database), cluster=cluster)
    if not store_path(study.folder).exists():
        for line in (*study_warnings(study), *hopeless_rides(study)):
            notice(line)
    progress = run_study(
        study,
        n_candidates=study.n_candidates if candidates is None else candidates,
        n_jobs=n_jobs,
        on_generation=lambda now: on_progress(searched(study, now, feels)),
        stop=stop,
        enough=enough,
        asked=Asked(n_candidates=candidates, until_gain_percent=until_gain_percent),
        notice=notice,
        stages=CalledBack(on_progress),
        machines=machines,
    )
    if progress.n_done >= progress.n_wanted:
        reevaluate_front(
            study,
            n_jobs=n_jobs,
            advance=lambda done, total: on_progress(
                Progress(stage=REEVALUATION, done=done, total=total)
            ),
            stop=stop,
            machines=machines,
        )
    return read_results(study)


def fork(
    results: Results,
    folder: FilePath,
    *,
    profiles: int | None = None,
    text: str | None = None,
    falls: Sequence[FilePath] = (),
) -> Study:
    """Return a new study that starts from another's candidates and keeps their rides.

    Change riders, courses, bounds or constraints in its study.toml, then load and run it: rides of
    the same profile, rider, board, course and seed are not simulated again.

    Parameters
    ----------
    results : Results
        Of the study to start from.
    folder : path
        Made where it is missing.
    profiles : int, optional
        Take only so many along, the best of the front; all candidates if not given.
    text : str, optional
        Of the new study.toml, where it is changed already.
    falls : sequence of path
        Files of courses that a validation wrote of nose-downs; they are added to the study.

    Raises
    ------
    FileError
        The folder holds a study already, or can not be written.
    UserInputError
        The front is asked for and empty, or the new study can not be read as it stands.
    ValueError
        `profiles` is below 1.
    """
    if profiles is not None and profiles < 1:
        raise ValueError(f"profiles must be 1 or more, got {profiles}")
    forking.fork(
        results,
        Path(folder),
        n_profiles=profiles,
        text=text,
        falls=tuple(Path(path) for path in falls),
    )
    return load.load_study(Path(folder))
