"""The profiles of a finished search's front, for a comparison with a profile from anywhere."""

import dataclasses
from collections.abc import Mapping

import numpy as np

from optimizer.analysis.results import Results, read_results
from optimizer.base.errors import NotStartedError, StoreError, StudyFileError
from optimizer.execution.evaluate import whole_profiles
from optimizer.study.study import Study
from plant.arrays import Floats


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrontProfiles:
    """A front as whole profiles.

    Attributes
    ----------
    profiles : (candidate, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    picks : mapping of str to int
        Row of each candidate that is a pick, by its number and all its names.
    """

    profiles: Floats
    picks: Mapping[str, int]


def finished_front(study: Study) -> FrontProfiles | None:
    """Return the front of a study's finished search.

    Returns
    -------
    FrontProfiles or None
        None where the study's folder holds no search of this study, none that has come to the end
        of its re-evaluation, none that can be compared with its baseline, or no feasible candidate.
    """
    try:
        results = read_results(study)
    except (NotStartedError, StoreError, StudyFileError):
        return None
    return front_profiles(results) if results.reevaluated.any() and results.picks else None


def front_profiles(results: Results) -> FrontProfiles:
    """Return the front of results, which hold a feasible candidate."""
    numbers = np.flatnonzero(results.on_front)
    return FrontProfiles(
        profiles=whole_profiles(results.study, results.history.values[numbers]),
        picks={
            f"candidate {number} ({', '.join(results.pick_names(number))})": int(
                np.searchsorted(numbers, number)
            )
            for number in dict.fromkeys(results.picks.values())
        },
    )
