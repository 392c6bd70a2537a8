"""Logs of real rides: read, fitted, and made a study of."""

import dataclasses
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd

from optimizer.analysis.fork import fork
from optimizer.analysis.results import read_results
from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.errors import LogError, StoreError, StudyFileError, caused_by
from optimizer.execution.store import how_far
from optimizer.execution.store_files import locked
from optimizer.execution.study_changes import as_started
from optimizer.interface.file_path import FilePath
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.ridelog.fit_file import made_of, read_fits
from optimizer.ridelog.fits.all_fits import Fits, fit_all
from optimizer.ridelog.ridden_segment import ridden_segment
from optimizer.ridelog.study_from_log import road_fit, write_study
from optimizer.ridelog.study_update import updated_text
from optimizer.study import load
from optimizer.study.log_data.checks import Checked
from optimizer.study.log_data.mapping import LogMapping, load_mapping
from optimizer.study.log_data.resampling import RideLog, load_log
from optimizer.study.paths import (
    BEFORE_FILE,
    FIT_FILE,
    STUDY_FILE,
    fit_folder,
    mapping_beside,
    store_path,
)
from optimizer.study.study import Study

_ALONG = 24  # profiles of a searched study: on another board none of its rides holds


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LoggedRide:
    """The log of a real ride, read and checked.

    Attributes
    ----------
    path : Path
    mapping : LogMapping
        Which column is what, the nearest board of the catalogue, and the rider's mass.
    log : RideLog
        On an even grid, in SI.
    checked : Checked
        How long the log is, and what was found wrong in it.
    """

    path: Path
    mapping: LogMapping
    log: RideLog
    checked: Checked

    def __repr__(self) -> str:
        return (
            f"<LoggedRide of {self.path}: {self.checked.duration_s:.1f} s,"
            f" {len(self.checked.findings)} finding(s)>"
        )

    @property
    def table(self) -> pd.DataFrame:
        """One row each sample: time, number of the part between gaps, and the channels in SI.

        NaN where the log has nothing that can be true.
        """
        return pd.DataFrame({"time_s": self.log.time_s, "part": self.log.part, **self.log.signals})


def read_log(path: FilePath, *, mapping: FilePath | None = None) -> LoggedRide:
    """Return the log of a real ride, on an even grid and checked.

    Parameters
    ----------
    path : path
        CSV or Parquet.
    mapping : path, optional
        The file that says which column is what, confirmed by hand; beside the log, with
        .mapping.toml in place of its suffix, if not given. `levelgain log propose` writes one.

    Raises
    ------
    LogError
        The log or the mapping can not be read, is not confirmed, or holds too little.
    """
    log = Path(path)
    known = load_mapping(mapping_beside(log) if mapping is None else Path(mapping))
    on_grid, checked = load_log(log, known)
    return LoggedRide(path=log, mapping=known, log=on_grid, checked=checked)


def fit_log(logged: LoggedRide, *, on_progress: OnProgress = unwatched) -> Fits:
    """Return what the log says of board, rider and controller, by subject.

    Parameters
    ----------
    logged : LoggedRide
    on_progress : callable, optional
        Called with a `Progress` as each fit begins.

    Returns
    -------
    mapping of subject to Fit or str
        Values with 95 % intervals, units at the end of their names; a text says why there is no
        fit. `fits_table` lays them out.
    """
    return fit_all(logged.log, logged.mapping, stages=CalledBack(on_progress))


def kept_or_new_fits(
    logged: LoggedRide,
    folder: FilePath | None = None,
    *,
    notice: Callable[[str], object] = print,
    on_progress: OnProgress = unwatched,
) -> Fits:
    """Return the fits that `levelgain log fit` has written of a log, or new ones.

    Parameters
    ----------
    logged : LoggedRide
    folder : path, optional
        Holds the fits, which must then be of this log. If it is not given, the folder beside the
        log is looked into, and the log is fitted anew where that holds none of it.
    notice : callable, optional
        Called with one line that says which fits these are.
    on_progress : callable, optional
        As of `fit_log`.

    Raises
    ------
    LogError
        The folder that is given holds no fits, damaged ones, or those of something else.
    """
    path = (fit_folder(logged.path) if folder is None else Path(folder)) / FIT_FILE
    if folder is None and not path.exists():
        return fit_log(logged, on_progress=on_progress)
    try:
        with caused_by(LogError):
            fits = read_fits(path, made_of(logged.path, logged.mapping))
    except LogError as error:
        if folder is not None:
            raise
        notice(f"{error}; the log is fitted anew, and that file stays as it is.")
        return fit_log(logged, on_progress=on_progress)
    notice(f"Taken: the fit in {path}.")
    return fits


def fits_table(fits: Fits) -> pd.DataFrame:
    """Return every fitted number, one row each.

    Parameters
    ----------
    fits : mapping of subject to Fit or str
        From `fit_log`; subjects without a fit have no row.

    Returns
    -------
    DataFrame
        Subject, name with its unit at the end, value, and the ends of its 95 % interval.
    """
    rows = [
        (subject, name, float(value), float(low), float(high))
        for subject, fit in fits.items()
        if not isinstance(fit, str)
        for name, value, low, high in zip(fit.names, fit.value, fit.low, fit.high, strict=True)
    ]
    return pd.DataFrame(rows, columns=["subject", "name", "value", "low", "high"])


def log_into_study(
    logged: LoggedRide, fits: Fits, study: FilePath, new: FilePath | None = None
) -> tuple[Study, Study]:
    """Return a study as it was and with what a log determines: board, tolerances and baseline.

    A study that was not searched yet is changed itself; its file as it was stays beside it, as
    study_before.toml. Where nothing moves it is left alone. Of one that was searched nothing
    changes: its best profiles are taken along into a new folder.

    Parameters
    ----------
    logged : LoggedRide
    fits : mapping of subject to Fit or str
        From `fit_log` of the same log.
    study : path
        Folder of the study.
    new : path, optional
        Folder of the new study, where this one was searched.

    Raises
    ------
    UserInputError
        The study's board is another than the mapping's, the log determines nothing of it, or a
        file is there already or can not be written.
    StudyFileError
        The study was searched and no new folder is named, or the other way round; a run has it; or
        its file is not allowed.
    """
    folder = Path(study)
    path, before = folder / STUDY_FILE, folder / BEFORE_FILE
    old = study_for_log(logged.path, folder, new)
    text = updated_text(old, fits, logged.mapping, path=path, log=logged.path)
    updated = load.load_study(folder, text=text)
    if new is None and updated.digest == old.digest:
        return old, old
    if new is None:
        refuse_existing([before], advice="move it away")
        with _no_run_of(folder, log=logged.path):
            write_whole(before, old.text)
            write_whole(path, text)
        return old, updated
    started = as_started(old)
    results = read_results(old if started is None else started)
    best = _ALONG if results.on_front.any() else None
    fork(results, Path(new), n_profiles=best, text=text)
    return old, load.load_study(Path(new))


def study_for_log(log: FilePath, study: FilePath, new: FilePath | None) -> Study:
    """Return a study into which `log_into_study` may put what a log says, as it is now.

    Parameters
    ----------
    log : path
        The log, for messages.
    study, new : path
        As of `log_into_study`.

    Raises
    ------
    StudyFileError
        The study was searched and no new folder is named, or the other way round; or its file is
        not allowed.
    FileError
        There is a study in the new folder.
    """
    folder = Path(study)
    found = load.load_study(folder)
    n_candidates, _ = how_far(store_path(folder))
    if bool(n_candidates) != (new is not None):
        way_on = _fork_of(folder, log=Path(log))
        raise StudyFileError(
            f"{folder}: was searched, so its file and results stay as they are; {way_on}"
            if n_candidates
            else f"{folder}: was not searched yet, so it is changed itself; name no new folder"
        )
    if new is not None:
        refuse_existing([Path(new) / STUDY_FILE], advice="name a new folder")
    return found


def _fork_of(folder: Path, *, log: Path) -> str:
    return f"fork it with what the log says: levelgain log use {log} NEW --into {folder}"


@contextmanager
def _no_run_of(folder: Path, *, log: Path) -> Iterator[None]:
    """Keep runs of a study out while the block changes its file; refuse where one has it."""
    path = store_path(folder)
    if not path.exists():  # a run that is to come reads the file that it finds
        yield
        return
    try:
        lock = locked(path)
    except StoreError as error:
        way_on = _fork_of(folder, log=log)
        raise StudyFileError(f"{error}; once a generation is finished, {way_on}") from None
    with lock:
        yield


def study_from_log(logged: LoggedRide, fits: Fits, folder: FilePath) -> Study:
    """Return a new study of the fitted board, the logged route and the profile that was ridden.

    What the log does not determine is the catalogue's; the intervals become tolerances.

    Parameters
    ----------
    logged : LoggedRide
    fits : mapping of subject to Fit or str
        From `fit_log` of the same log.
    folder : path
        Made where it is missing.

    Raises
    ------
    FileError
        The folder holds a study already, or can not be written.
    LogError
        The log holds no part that is long enough to be ridden again.
    """
    with caused_by(LogError):
        segment = ridden_segment(logged.log, logged.mapping, road_fit(fits))
    write_study(Path(folder), fits, segment, logged.mapping, log=logged.path)
    return load.load_study(Path(folder))
