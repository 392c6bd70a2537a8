"""What a fork takes over of the rides it was made from, and what it does not and why.

The study's own rides alone are counted: the hard rides are not known before they are looked for,
which takes minutes. They are taken over all the same where they are the same rides.
"""

import dataclasses
from collections import Counter
from collections.abc import Sequence

import numpy as np

from optimizer.execution.early_rejection import not_ridden
from optimizer.execution.evaluate import baseline_values, searched_columns, whole_profiles
from optimizer.execution.ride_archive import (
    Part,
    Ridden,
    RideInputs,
    inputs_of,
    read_ridden,
    ride_versions,
)
from optimizer.execution.ride_reuse import held, rides_again, rows_of
from optimizer.study.paths import RIDDEN_FILE
from optimizer.study.study import Study
from plant.arrays import Indices
from plant.description.profile_array import PROFILE_NAMES, profile_to_array

_REASONS_TOLD = 4
_HARD_RIDES = (
    "hard rides come on top, and are the same only with the same board, riders, baseline, riding"
    " day, tolerances and seed"
)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Reuse:
    """Rides that a study takes over.

    Attributes
    ----------
    parts : tuple of Part
        Empty where nothing is taken over.
    reused_ratio : float
        Share of the own rides of the baseline and the profiles to start from that is taken over,
        0 to 1; hard rides do not count.
    summary : str
        One line for the user; empty where the study has no file of rides.
    """

    parts: tuple[Part, ...] = ()
    reused_ratio: float = 0.0
    summary: str = ""


def find_reuse(study: Study) -> Reuse:
    """Return what of the file of rides beside a study holds for that study.

    Raises
    ------
    UserInputError
        The file can not be read or is damaged.
    """
    path = study.folder / RIDDEN_FILE
    if not path.exists():
        return Reuse()
    ridden = read_ridden(path)
    searched = ridden.parts[0]
    _, there = held(searched, study.rides)
    refused = _refused(study, ridden)
    if refused:
        best = "to start from the best of the front alone, fork again with 24 profiles"
        advice = f"; {best}" if len(study.start) >= study.population else ""
        return Reuse(summary=f"{path}: nothing is reused, all is ridden anew: {refused}{advice}.")
    n_first, known = _known(study, searched)
    n_rides = int(np.count_nonzero(~not_ridden(searched.columns[known][:, there])))
    new = _rides_not_held(study, searched)
    lines = [
        f"{path}: {len(known)} of the first {n_first} profiles are known, and {n_rides} of their"
        f" {n_first * len(study.rides)} rides over the study's courses, which are not ridden again",
        f"ridden anew: {new}" if new else "",
        _HARD_RIDES,
        _left_behind(study, searched),
    ]
    return Reuse(
        parts=ridden.parts,
        reused_ratio=n_rides / (n_first * len(study.rides)),
        summary="; ".join(line for line in lines if line) + ".",
    )


def _refused(study: Study, ridden: Ridden) -> str:
    """Return why nothing can be taken over, or nothing."""
    for key, here in ride_versions().items():
        there = ridden.versions.get(key, "none")
        if there != here:
            return (
                "another version of the model rode it"
                if key == "model.digest"
                else f"{key} was {there}, now {here}"
            )
    searched = ridden.parts[0]
    if not len(held(searched, study.rides)[0]):
        return _rides_not_held(study, searched)
    if not len(_known(study, searched)[1]):
        return _why_no_profile(study, searched)
    if not rides_again(searched, study.rides):
        return "this machine's results differ in their last digits, as its C library is another"
    return ""


def _known(study: Study, part: Part) -> tuple[int, Indices]:
    """Return how many profiles the search begins with, and the rows of those that a part holds."""
    first = whole_profiles(study, np.vstack([baseline_values(study), *study.start]))
    rows = rows_of(part)
    found = [rows[profile.tobytes()] for profile in first if profile.tobytes() in rows]
    return len(first), np.array(found, dtype=np.intp)


def _rides_not_held(study: Study, part: Part) -> str:
    """Return how many rides a part lacks and why."""
    here = set(held(part, study.rides)[0].tolist())
    reasons = Counter(
        _why_not(inputs_of(ride), part.rides)
        for place, ride in enumerate(study.rides)
        if place not in here
    )
    observed = [f"{reason} ({count} rides)" for reason, count in reasons.most_common(_REASONS_TOLD)]
    if len(reasons) > _REASONS_TOLD:
        observed.append(f"{len(reasons) - _REASONS_TOLD} reasons more")
    return ", ".join(observed)


def _why_not(wanted: RideInputs, rides: Sequence[RideInputs]) -> str:
    for ride in rides:
        if (ride.course, ride.rider) == (wanted.course, wanted.rider):
            return _difference(wanted, ride)
    if all(ride.course != wanted.course for ride in rides):
        return f"course {wanted.course} is new"
    if all(ride.rider != wanted.rider for ride in rides):
        return f"rider {wanted.rider} is new"
    return f"{wanted.course} was not ridden by {wanted.rider}"


def _difference(wanted: RideInputs, ride: RideInputs) -> str:
    if wanted.board_digest != ride.board_digest:
        return "the board differs"
    if wanted.seeds != ride.seeds:
        return "the seed differs"
    if wanted.rider_digest != ride.rider_digest:
        return f"rider {wanted.rider} differs"
    return f"course {wanted.course} differs"


def _why_no_profile(study: Study, part: Part) -> str:
    """Return why no profile of the study is one of a part's."""
    baseline = profile_to_array(study.baseline)
    fixed = np.setdiff1d(np.arange(len(PROFILE_NAMES)), searched_columns(study))
    changed = [PROFILE_NAMES[column] for column in fixed
               if baseline[column] not in part.profiles[:, column]]  # fmt: skip
    if changed:
        return f"no profile was ridden with this {' or this '.join(changed[:_REASONS_TOLD])}"
    return "none of the profiles to start from was ridden"


def _left_behind(study: Study, part: Part) -> str:
    """Return how many of a part's profiles the searched bounds leave out."""
    values = part.profiles[:, searched_columns(study)]
    inside = ((values >= study.space.low) & (values <= study.space.high)).all(axis=1)
    n_outside = int(np.count_nonzero(~inside))
    return f"{n_outside} profiles lie outside the searched bounds" if n_outside else ""
