"""Rides that were ridden for another study, taken over where nothing that decides them has changed.

A ride's result depends on its own profile, rider, board, course and seed alone. What is taken over
is therefore, byte for byte, what riding it again would give, and a study ends the same without it.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from objectives import RIDE_COLUMNS, ride_columns, score
from optimizer.evaluation import Evaluate, Evaluation
from optimizer.ridden_file import Part, inputs_of
from optimizer.riding import rules_of, whole_profiles
from optimizer.study import Study
from plant.simulate import Ride, simulate

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.intp]


def reusing(evaluate: Evaluate, study: Study, parts: Sequence[Part], *, n_jobs: int) -> Evaluate:
    """Return a function that rides only what nobody has ridden yet.

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
    """
    return _Reusing(evaluate, study, parts, n_jobs) if parts else evaluate


class _Reusing:
    """An `Evaluate` that knows what was ridden before."""

    def __init__(
        self, evaluate: Evaluate, study: Study, parts: Sequence[Part], n_jobs: int
    ) -> None:
        self._evaluate = evaluate
        self._study = study
        self._rules = rules_of(study)
        self._n_jobs = n_jobs
        self._parts = [(part, *held(part, study.rides), rows_of(part)) for part in parts]

    def __call__(self, values: Floats, /) -> Evaluation:
        profiles = whole_profiles(self._study, values)
        columns, known = self._taken_over(profiles)
        if not known.any():
            return self._evaluate(values)
        for pattern in np.unique(known, axis=0):
            rows = np.flatnonzero((known == pattern).all(axis=1))
            missing = np.flatnonzero(~pattern)
            if len(missing):
                rides = [self._study.rides[place] for place in missing]
                ridden = simulate(profiles[rows], rides, n_jobs=self._n_jobs)
                columns[np.ix_(rows, missing)] = ride_columns(ridden, rides)
        scores = score(columns, profiles, self._rules)
        return Evaluation(
            objectives=scores.objectives, constraints=scores.constraints, rides=columns
        )

    def _taken_over(self, profiles: Floats) -> tuple[Floats, Flags]:
        """Return columns of profiles, and which rides of them are known, (candidate, ride)."""
        columns = np.empty((len(profiles), len(self._study.rides), len(RIDE_COLUMNS)))
        known = np.zeros(columns.shape[:2], dtype=np.bool_)
        for part, here, there, rows in self._parts:
            for candidate, profile in enumerate(profiles):
                row = rows.get(profile.tobytes())
                if row is not None:
                    columns[candidate, here] = part.columns[row, there]
                    known[candidate, here] = True
        return columns, known


def held(part: Part, rides: Sequence[Ride]) -> tuple[Places, Places]:
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
