"""Rides that were ridden for another study, taken over where nothing that decides them has changed.

A ride's result depends on its own profile, rider, board, course and seed alone. What is taken over
is therefore, byte for byte, what riding it again would give, and a study ends the same without it.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from objectives import RIDE_COLUMNS, ride_columns
from optimizer.execution.early_rejection import not_ridden
from optimizer.execution.evaluate import evaluated, ride_places, rules_of, whole_profiles
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.ride_archive import Part, inputs_of
from optimizer.search.evaluation import Evaluate, Evaluation
from optimizer.study.study import Study
from plant.arrays import Floats, Indices
from plant.kernel.simulate import Ride, simulate


def reusing(
    evaluate: Evaluate,
    study: Study,
    parts: Sequence[Part],
    *,
    n_jobs: int,
    screening: tuple[int, ...] = (),
) -> Evaluate:
    """Return a function that rides only what has not been ridden yet.

    Parameters
    ----------
    evaluate : Evaluate
        Rides batches of which nothing is taken over.
    study : Study
        Whose rides are ridden.
    parts : sequence of Part
        Rides to take over.
    n_jobs : int
        Threads for the rides that a profile lacks; they are ridden on this machine.
    screening : tuple of int
        Indices of the rides that `evaluate` rides first; a candidate rejected there is rejected
        them here, known or not.
    """
    if not parts:
        return evaluate
    return _Reusing(evaluate, study, parts, n_jobs=n_jobs, screening=screening)


class _Reusing:
    """An `Evaluate` that knows what was ridden before."""

    def __init__(
        self,
        evaluate: Evaluate,
        study: Study,
        parts: Sequence[Part],
        *,
        n_jobs: int,
        screening: tuple[int, ...],
    ) -> None:
        self._evaluate = evaluate
        self._study = study = with_hard_rides(study)
        self._rules = rules_of(study)
        self._n_jobs = n_jobs
        self._screening = screening
        held_by = [(part, *held(part, study.all_rides), rows_of(part)) for part in parts]
        self._parts = [found for found in held_by if len(found[1])]

    def __call__(self, values: Floats, /) -> Evaluation:
        profiles = whole_profiles(self._study, values)
        if not any(row.tobytes() in rows for *_, rows in self._parts for row in profiles):
            return self._evaluate(values)
        return evaluated(
            self._study, values, ride=self._ride, rules=self._rules, screening=self._screening
        )

    def _ride(self, profiles: Floats, places: Indices) -> Floats:
        """Return columns of profiles over the rides at some places, ridden where not known."""
        columns = self._taken_over(profiles)[:, places]
        unknown = not_ridden(columns)
        for pattern in np.unique(unknown, axis=0):
            rows = np.flatnonzero((unknown == pattern).all(axis=1))
            missing = np.flatnonzero(pattern)
            if len(missing):
                columns[np.ix_(rows, missing)] = ride_places(
                    self._study, profiles[rows], places[missing], n_jobs=self._n_jobs
                )
        return columns

    def _taken_over(self, profiles: Floats) -> Floats:
        """Return what is known of profiles, (candidate, ride, column), NaN where nothing is."""
        n_rides = self._study.n_rides
        columns = np.full((len(profiles), n_rides, len(RIDE_COLUMNS)), np.nan)
        for part, here, there, rows in self._parts:
            for candidate, profile in enumerate(profiles):
                row = rows.get(profile.tobytes())
                if row is not None:
                    columns[candidate, here] = part.columns[row, there]
        return columns


def held(part: Part, rides: Sequence[Ride]) -> tuple[Indices, Indices]:
    """Return which of the rides a part holds: their places among the rides and in the part."""
    places = {inputs.key: place for place, inputs in enumerate(part.rides)}
    found = [places.get(inputs_of(ride).key, -1) for ride in rides]
    there = np.array(found, dtype=np.intp)
    here = np.flatnonzero(there >= 0)
    return here, there[here]


def rows_of(part: Part) -> Mapping[bytes, int]:
    """Return the row of each whole profile in a part."""
    return {profile.tobytes(): row for row, profile in enumerate(part.profiles)}


def rides_again(part: Part, rides: Sequence[Ride]) -> bool:
    """Say whether this machine rides a part's first profile to the last bit as it was ridden.

    Parameters
    ----------
    part : Part
    rides : sequence of Ride
        At least one of them in the part.
    """
    here, there = held(part, rides)
    shared = [rides[place] for place in here]
    again = ride_columns(simulate(part.profiles[:1], shared), shared)
    return again.tobytes() == part.columns[:1, there].tobytes()
