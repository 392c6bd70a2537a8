"""Logs of real rides: read, fitted, and made a study of."""

import dataclasses
from pathlib import Path

import pandas as pd

from optimizer.base.errors import LogError, caused_by
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.studies import FilePath
from optimizer.ridelog.fits.all_fits import Fits, fit_all
from optimizer.ridelog.ridden_segment import ridden_segment
from optimizer.ridelog.study_from_log import road_fit, write_study
from optimizer.study import load
from optimizer.study.log_data.checks import Checked
from optimizer.study.log_data.mapping import LogMapping, load_mapping
from optimizer.study.log_data.resampling import RideLog, load_log
from optimizer.study.paths import mapping_beside
from optimizer.study.study import Study


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
