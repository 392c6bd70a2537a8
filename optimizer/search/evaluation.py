"""Outcome of a batch of candidates, and the arrays of all candidates so far."""

from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np

from objectives import Components
from plant.arrays import Floats

BASELINE = 0  # number of the candidate that all others are compared with


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evaluation:
    """Outcome of one batch of candidates; constraints are finite.

    Parameters
    ----------
    objectives : (candidate, objective) float64
        Minimised. NaN where one is not known, because a candidate that breaks a constraint did not
        ride all that it is made of.
    constraints : (candidate, constraint) float64
        Met when <= 0. Infeasible candidates are compared by the sum of their positive values, so
        scale each constraint such that 1 is a serious violation.
    rides : (candidate, ride, column) float64
        Metrics of each ride, exact enough to score it again; NaN where a ride has no such metric.
    """

    objectives: Floats
    constraints: Floats
    rides: Floats


class Evaluate(Protocol):
    """Evaluates a batch of candidates."""

    def __call__(self, values: Floats, /) -> Evaluation:
        """Evaluate the (candidate, parameter) values; each outcome depends on its own row only."""
        ...


def checked(
    evaluation: Evaluation, *, n_candidates: int, n_objectives: int, may_reject: bool = False
) -> Evaluation:
    """Return the evaluation in its stored number types.

    Parameters
    ----------
    evaluation : Evaluation
    n_candidates, n_objectives : int
    may_reject : bool
        Whether candidates that break a constraint may have unknown objectives.

    Raises
    ------
    ValueError
        A wrong shape, an objective or constraint that is not finite, or an infinite metric.
    """
    exact = Evaluation(
        objectives=np.ascontiguousarray(evaluation.objectives, dtype=np.float64),
        constraints=np.ascontiguousarray(evaluation.constraints, dtype=np.float64),
        rides=np.ascontiguousarray(evaluation.rides, dtype=np.float64),
    )
    if exact.objectives.shape != (n_candidates, n_objectives):
        raise ValueError(
            f"objectives must be ({n_candidates}, {n_objectives}), got {exact.objectives.shape}"
        )
    for name, array, n_axes in (("constraints", exact.constraints, 2), ("rides", exact.rides, 3)):
        if array.ndim != n_axes or array.shape[0] != n_candidates:
            raise ValueError(
                f"{name} must have {n_axes} axes and {n_candidates} candidates, got {array.shape}"
            )
    unknown = np.isnan(exact.objectives)
    broken = (exact.constraints > 0.0).any(axis=1, keepdims=True)
    rejected_early = unknown & broken & np.array(may_reject)
    for name, bad in (
        ("objectives", ~np.isfinite(exact.objectives) & ~rejected_early),
        ("constraints", ~np.isfinite(exact.constraints)),
        ("rides", np.isinf(exact.rides)),
    ):
        if bad.any():
            raise ValueError(f"{name} must be finite, got another number at {np.argwhere(bad)[0]}")
    return exact


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class History:
    """All finished candidates in number order.

    Parameters
    ----------
    values : (candidate, parameter) float64
    objectives : (candidate, objective) float64
        NaN where they are not known; see `Evaluation`.
    constraints : (candidate, constraint) float64
    """

    values: Floats
    objectives: Floats
    constraints: Floats

    def __len__(self) -> int:
        return len(self.values)

    def rows(self, start: int, stop: int) -> Self:
        """Return the candidates numbered `start` to `stop` - 1."""
        return type(self)(
            values=self.values[start:stop],
            objectives=self.objectives[start:stop],
            constraints=self.constraints[start:stop],
        )

    def followed_by(self, later: Self) -> Self:
        """Return the history with later candidates after these."""
        if not len(self):
            return later
        return type(self)(
            values=np.vstack([self.values, later.values]),
            objectives=np.vstack([self.objectives, later.objectives]),
            constraints=np.vstack([self.constraints, later.constraints]),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observed:
    """Observed data of candidates in number order, nothing of it unknown.

    Parameters
    ----------
    history : History
    components : Components
        Of which their objectives and constraints are made.
    """

    history: History
    components: Components

    def rows(self, start: int, stop: int) -> Self:
        """Return the data of the candidates numbered `start` to `stop` - 1."""
        return type(self)(
            history=self.history.rows(start, stop),
            components=self.components.taken(slice(start, stop)),
        )

    def followed_by(self, later: Self) -> Self:
        """Return the data of these candidates and of later ones."""
        return type(self)(
            history=self.history.followed_by(later.history),
            components=self.components.followed_by(later.components),
        )


# Nothing yet; the first candidates bring the number of columns.
NO_HISTORY = History(
    values=np.empty((0, 0)), objectives=np.empty((0, 0)), constraints=np.empty((0, 0))
)
NO_COMPONENTS = Components(
    costs=np.empty((0, 0)), margins=np.empty((0, 0)), limits=np.empty((0, 0))
)
