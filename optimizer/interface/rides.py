"""Profiles ridden over the rides of a study: metrics, scores, comparisons and traces."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from optimizer.analysis.comparison import Comparison, compared
from optimizer.analysis.tables import rides_table, scores_table, trace_table
from optimizer.base.errors import RideError
from optimizer.base.messages import nearest
from optimizer.execution.devices import on_device
from optimizer.execution.reevaluation import ride_on_fresh_noise
from optimizer.interface.threads import n_threads
from optimizer.study.study import Study
from plant.description.profile import Profile
from plant.description.profile_array import profile_to_array
from plant.device import Device
from plant.kernel.simulate import Ride
from plant.kernel.trace import trace


def compare(
    study: Study,
    profiles: Mapping[str, Profile],
    *,
    jobs: int | None = None,
    device: Device | None = None,
) -> Comparison:
    """Return profiles ridden over all rides of a study, side by side.

    Their noise is that of the re-evaluation, so a candidate of the front has the numbers here that
    `candidate` shows.

    Parameters
    ----------
    study : Study
    profiles : mapping of name to Profile
        One or more; the others are compared with the first.
    jobs : int, optional
        Threads; all cores if not given. The outcome does not depend on it.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given.

    Returns
    -------
    Comparison
        Arrays of objectives, constraints and metrics, (profile, ...). Its `scores`,
        `nose_down_rates`, `handling_table` and `differences` are tables;
        `figures.compared_rides` and `figures.compared_loops` draw it.

    Raises
    ------
    ValueError
        No profile is given.
    MachineError
        The GPU can not be used.
    """
    if not profiles:
        raise ValueError("profiles must hold one or more profiles, got none")
    rows = np.stack([profile_to_array(profile) for profile in profiles.values()])
    study = on_device(study, device)
    return compared(study, list(profiles), rows, n_jobs=n_threads(jobs))


def ride(
    study: Study,
    profile: Profile,
    *,
    jobs: int | None = None,
    device: Device | None = None,
) -> pd.DataFrame:
    """Return what a profile does on every ride of a study, one row each.

    The noise is that of `compare`.

    Parameters
    ----------
    study : Study
    profile : Profile
    jobs : int, optional
        Threads; all cores if not given.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given.

    Returns
    -------
    DataFrame
        The ride's name, its metrics with units at the end of their names, and how it ended.
    """
    return rides_table(study, compare(study, {"": profile}, jobs=jobs, device=device).rides[0])


def score(
    study: Study,
    profiles: Mapping[str, Profile],
    *,
    jobs: int | None = None,
    device: Device | None = None,
) -> pd.DataFrame:
    """Return what profiles score over all rides of a study, one row each.

    The noise is that of `compare`.

    Parameters
    ----------
    study : Study
    profiles : mapping of name to Profile
        One or more.
    jobs : int, optional
        Threads; all cores if not given.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given.

    Returns
    -------
    DataFrame
        The name, whether every constraint is met, the objectives and the constraints, named as in
        the table of candidates.

    Raises
    ------
    ValueError
        No profile is given.
    MachineError
        The GPU can not be used.
    """
    found = compare(study, profiles, jobs=jobs, device=device)
    return scores_table(found.names, found.objectives, found.constraints)


def traces(
    study: Study, profile: Profile, *, course: str, rider: str, every_ms: int = 5
) -> pd.DataFrame:
    """Return the signals of one ride over time, one row each sample until the ride ended.

    The ride is one of `ride`, on the same noise.

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
    ridden = ride_of(study, f"{course}/{rider}")
    return trace_table(trace(profile_to_array(profile), ridden, every_steps=every_ms))


def ride_of(study: Study, name: str) -> Ride:
    """Return the ride of a study of that name, course/rider, on the noise of `ride`.

    Raises
    ------
    RideError
        The study has no such ride.
    """
    return ride_on_fresh_noise(study, ride_named(study, name))


def ride_named(study: Study, name: str) -> Ride:
    """Return the ride of a study of that name, course/rider, as it is.

    Raises
    ------
    RideError
        The study has no such ride.
    """
    for ride in study.rides:
        if ride.name == name:
            return ride
    like = nearest(name, [ride.name for ride in study.rides])
    raise RideError(
        f"{study.folder}: the study has no ride {name!r} (course/rider); the nearest is {like!r}"
    )
