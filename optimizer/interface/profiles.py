"""Profiles: picked from results, ridden, scored, proven and handed over."""

import dataclasses
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import joblib
import numpy as np
import pandas as pd

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import Results, candidate_number
from optimizer.analysis.tables import rides_table, scores_table, trace_table
from optimizer.base.errors import RideError
from optimizer.base.messages import nearest
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.studies import FilePath
from optimizer.reports import profile_export, validation_report
from optimizer.study import load
from optimizer.study.paths import EXPORTS_FOLDER
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


def score(
    study: Study, profiles: Mapping[str, Profile], *, jobs: int | None = None
) -> pd.DataFrame:
    """Return what profiles score over all rides of a study, one row each.

    Parameters
    ----------
    study : Study
    profiles : mapping of name to Profile
        One or more.
    jobs : int, optional
        Threads; all cores if not given.

    Returns
    -------
    DataFrame
        The name, whether every constraint is met, the objectives and the constraints, named as in
        the table of candidates.
    """
    rows = np.stack([profile_to_array(profile) for profile in profiles.values()])
    scores, _ = ride_portfolio(study, rows, rules=rules_of(study), n_jobs=_threads(jobs))
    return scores_table(list(profiles), scores)


def export(
    results: Results,
    which: int | str = "balanced",
    *,
    folder: FilePath | None = None,
    formats: Sequence[str] = profile_export.FORMATS,
    template: FilePath | None = None,
    force: bool = False,
) -> list[Path]:
    """Return the files to which a candidate's profile is written, with its provenance.

    A plan of the first rides is among them. Every file is written whole.

    Parameters
    ----------
    results : Results
    which : int or str
        A candidate's number, or the name of a pick.
    folder : path, optional
        The study's own folder of exports if not given.
    formats : sequence of str
        Of "toml", "json" and "c".
    template : path, optional
        A Jinja2 template of the user's own, written besides.
    force : bool
        Whether files that are there are replaced.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    FileError
        A file is there already and `force` is not given, or can not be written.
    ValueError
        A format is none of these.
    """
    unknown = sorted(set(formats) - set(profile_export.FORMATS))
    if unknown:
        raise ValueError(
            f"formats must be of {', '.join(profile_export.FORMATS)}, got {', '.join(unknown)}"
        )
    return profile_export.export(
        results,
        candidate_number(results, str(which)),
        formats=tuple(formats),
        template=None if template is None else Path(template),
        folder=results.study.folder / EXPORTS_FOLDER if folder is None else Path(folder),
        force=force,
    )


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
    RideError
        The study has no such ride.
    ValueError
        `every_ms` is below 1.
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
    return validation_report.validation_facts(study, report, called=called)


def _threads(jobs: int | None) -> int:
    return int(joblib.cpu_count()) if jobs is None else jobs


def _ride_of(study: Study, *, course: str, rider: str) -> Ride:
    wanted = f"{course}/{rider}"
    for ride in study.rides:
        if ride.name == wanted:
            return ride
    like = nearest(wanted, [ride.name for ride in study.rides])
    raise RideError(
        f"{study.folder}: the study has no ride {wanted!r} (course/rider); the nearest is {like!r}"
    )
