"""One profile: picked from results, ridden, and proven."""

import dataclasses
from pathlib import Path
from typing import Any

import joblib
import pandas as pd

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import Results, candidate_number
from optimizer.analysis.tables import rides_table, trace_table
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.studies import FilePath
from optimizer.reports import validation_report
from optimizer.study import load
from optimizer.study.study import Study
from optimizer.validation import validate as validation
from plant.description.profile import Profile
from plant.description.profile_array import array_to_profile, profile_to_array
from plant.kernel.simulate import Ride
from plant.kernel.trace import trace


def profile(results: Results, which: int | str = "balanced") -> Profile:
    """Return the whole profile of a candidate.

    Parameters
    ----------
    results : Results
    which : int or str
        A candidate's number, or the name of a pick.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    """
    return array_to_profile(candidate_profile(results, candidate_number(results, str(which))))


def load_profile(path: FilePath) -> Profile:
    """Return the profile of a file, as an export writes it or with its sections alone.

    Raises
    ------
    ProfileError
        The file can not be read, or holds no profile that is allowed; one line.
    """
    return load.load_profile(Path(path))


def ride(study: Study, profile: Profile, *, jobs: int | None = None) -> pd.DataFrame:
    """Return what a profile does on every ride of a study, one row each.

    Parameters
    ----------
    study : Study
    profile : Profile
    jobs : int, optional
        Threads; all cores if not given.

    Returns
    -------
    DataFrame
        The ride's name, its metrics with units at the end of their names, and how it ended.
    """
    _, rides = ride_portfolio(
        study, profile_to_array(profile)[None, :], rules=rules_of(study), n_jobs=_threads(jobs)
    )
    return rides_table(study, rides[0])


def traces(
    study: Study, profile: Profile, *, course: str, rider: str, every_ms: int = 5
) -> pd.DataFrame:
    """Return the signals of one ride over time, one row each sample until the ride ended.

    Parameters
    ----------
    study : Study
    profile : Profile
    course, rider : str
        Names of the study.
    every_ms : int
        Time between two samples, from 1 up.

    Returns
    -------
    DataFrame
        The columns are the fields of `plant.kernel.trace.Trace`, with units at the end.

    Raises
    ------
    ValueError
        The study has no such ride, or `every_ms` is below 1.
    """
    ridden = _ride_of(study, course=course, rider=rider)
    return trace_table(trace(profile_to_array(profile), ridden, every_steps=every_ms))


def validate(
    study: Study,
    profile: Profile,
    *,
    called: str = "the profile",
    hours: float | None = None,
    jobs: int | None = None,
    on_progress: OnProgress = unwatched,
) -> dict[str, Any]:
    """Return the facts of a validation: the profile on what it was not tuned on.

    Parameters
    ----------
    study : Study
    profile : Profile
    called : str
        What to call the profile in the facts.
    hours : float, optional
        Hours of the riding day; the study's own if not given.
    jobs : int, optional
        Threads; all cores if not given.
    on_progress : callable, optional
        Called with a `Progress`.

    Returns
    -------
    dict
        The JSON that `levelgain validate` writes: "overall" is pass, marginal or fail, and
        "verdicts" says for each item what was found, what is asked and what to change.
    """
    if hours is not None:
        asked = dataclasses.replace(study.validation, hours=hours)
        study = dataclasses.replace(study, validation=asked)
    report = validation.validate(
        study,
        profile_to_array(profile),
        n_jobs=_threads(jobs),
        stages=CalledBack(on_progress),
    )
    return validation_report.told(study, report, called=called)


def _threads(jobs: int | None) -> int:
    return int(joblib.cpu_count()) if jobs is None else jobs


def _ride_of(study: Study, *, course: str, rider: str) -> Ride:
    wanted = f"{course}/{rider}"
    for ride in study.rides:
        if ride.name == wanted:
            return ride
    names = ", ".join(ride.name for ride in study.rides)
    raise ValueError(f"the study has no ride {wanted}; its rides, course/rider, are {names}")
