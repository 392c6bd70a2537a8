"""Profiles: picked from results, read from files, proven and handed over."""

import dataclasses
import functools
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.front_profiles import finished_front
from optimizer.analysis.results import Results, candidate_number
from optimizer.base.errors import ArgumentError
from optimizer.execution.devices import on_device
from optimizer.interface.file_path import FilePath
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.threads import n_threads
from optimizer.reports import validation_report
from optimizer.study import load
from optimizer.study.limits import FEWEST_HOURS, MOST_HOURS
from optimizer.study.study import Study
from optimizer.validation import validate as validation
from plant.description.profile import Profile
from plant.description.profile_array import array_to_profile, profile_to_array
from plant.device import Device


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


def validate(
    study: Study,
    profile: Profile,
    *,
    called: str = "the profile",
    hours: float | None = None,
    accelerated: float | None = None,
    jobs: int | None = None,
    device: Device | None = None,
    on_progress: OnProgress = unwatched,
) -> dict[str, Any]:
    """Return the facts of a validation: the profile on what it was not tuned on.

    The study's baseline rides beside it, on the same days.

    Parameters
    ----------
    study : Study
    profile : Profile
    called : str
        What to call the profile in the facts.
    hours : float, optional
        Hours of the riding day; the study's own if not given.
    accelerated : float, optional
        Hours of that day over which nose-downs are estimated besides, from its hardest rides.
    jobs : int, optional
        Threads; all cores if not given.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given.
    on_progress : callable, optional
        Called with a `Progress`.

    Returns
    -------
    dict
        The JSON that `levelgain validate` writes: "overall" is pass, marginal or fail, and
        "verdicts" says for each item what was found, what is asked and what to change.
        "baseline" has the same of the baseline; None where the profile is the baseline.
        "remedies" says what would have prevented the nose-downs of the riding day, other profiles
        of a finished search in the study's folder among it; None without a nose-down.

    Raises
    ------
    UserInputError
        Hours are out of range, or the estimate is asked for over no more than are ridden in full.
    MachineError
        The GPU can not be used.
    """
    [facts] = validate_several(
        study,
        {called: profile},
        hours=hours,
        accelerated=accelerated,
        jobs=jobs,
        device=device,
        on_progress=on_progress,
    )
    return facts


def validate_several(
    study: Study,
    profiles: Mapping[str, Profile],
    *,
    hours: float | None = None,
    accelerated: float | None = None,
    jobs: int | None = None,
    device: Device | None = None,
    on_progress: OnProgress = unwatched,
) -> list[dict[str, Any]]:
    """Return the facts of a validation of several profiles, all on the same days.

    What is found of a profile does not depend on the others.

    Parameters
    ----------
    study : Study
    profiles : mapping of name to Profile
        One or more; the name is what to call the profile in the facts.
    hours, accelerated, jobs, device, on_progress
        As of `validate`.

    Returns
    -------
    list of dict
        As `validate` returns it, for each profile.

    Raises
    ------
    ValueError
        No profile is given.
    UserInputError
        The estimate is asked for over no more hours than are ridden in full.
    MachineError
        The GPU can not be used.
    """
    if not profiles:
        raise ValueError("profiles must hold one or more profiles, got none")
    study = on_device(study, device)
    for name, given in (("hours", hours), ("accelerated", accelerated)):
        if given is not None and not FEWEST_HOURS <= given <= MOST_HOURS:
            raise ArgumentError(
                name, f"must be from {FEWEST_HOURS:,g} to {MOST_HOURS:,.0f} hours, got {given:g}"
            )
    if hours is not None:
        asked = dataclasses.replace(study.validation, hours=hours)
        study = dataclasses.replace(study, validation=asked)
    in_full = study.validation.hours
    if accelerated is not None and not accelerated > in_full:
        raise ArgumentError(
            "accelerated",
            f"must be more than the {in_full:g} hours that are ridden in full, got {accelerated:g};"
            " give more, or ride fewer in full",
        )
    own = list(profiles.values())
    everyone = own if study.baseline in own else [*own, study.baseline]
    reports = validation.validate(
        study,
        np.stack([profile_to_array(profile) for profile in everyone]),
        n_remedied=len(own),
        front=functools.cache(functools.partial(finished_front, study)),
        accelerated_h=accelerated,
        n_jobs=n_threads(jobs),
        stages=CalledBack(on_progress),
    )
    beside = reports[everyone.index(study.baseline)]
    return [
        validation_report.validation_facts(
            study,
            report,
            called=called,
            profile=profile,
            baseline=None if profile == study.baseline else beside,
        )
        for (called, profile), report in zip(profiles.items(), reports, strict=False)
    ]
