"""Per-ride components: what a surrogate predicts of each ride, and the score made of them.

A profile's objectives bend where another ride becomes one of the worst, and its risk where a margin
is used up; whether it fails is a step. What each ride measured changes far more smoothly with the
profile, and how the score follows from it is known, so it need not be learnt. Objectives that are
made of predicted components are called composite: Astudillo and Frazier 2019, Proc. 36th Int. Conf.
Machine Learning, PMLR 97: 354-363.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from objectives.constraints import CONSTRAINT_NAMES, broken_by_ends, early_ends
from objectives.nose_down_rate import blended_rate, nearness
from objectives.ride_scores import RIDE_COLUMNS, outcome_codes
from objectives.score import blended, hard_margins
from objectives.scoring_context import ScoreRules
from plant.arrays import Floats
from plant.elementary import logarithm
from plant.kernel.outcomes import Outcome

_STILL = 1e-3  # of the limit: less shaking than this at rest is none
_HARDLY_BACK = 0.5  # of the limit: rolling back slower than this is none
# Of the limits of rolling back and of shaking at rest: a candidate predicted to come nearer breaks
# them as often as not, and other noise than the search's moves rolling back by 0.01 to 0.07. The
# limit of shaking has the margin of `ScoreSettings.noise_margin_ratio` already.
_NEARLY_LOST = 0.96
_NEARLY_SHAKES = 0.94
_MADE_OF_PARTS = ("nose_down", "other_end", "rest_shake")
_NEARLY_LATE = 0.05  # as near as predictions tell the shortest warning, of what is asked
_NOT_SEARCHED = ("tolerances",)
_AS_THEY_ARE = [
    place
    for place, name in enumerate(CONSTRAINT_NAMES)
    if name not in (*_MADE_OF_PARTS, *_NOT_SEARCHED)
]
_CAUTION = np.array(
    [_NEARLY_LATE if CONSTRAINT_NAMES[place] == "late_warning" else 0.0 for place in _AS_THEY_ARE]
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Components:
    """Components of objectives and constraints, a row for each candidate.

    Attributes
    ----------
    costs : (candidate, cost) float64
        From 0 up; larger is worse.
    margins : (candidate, margin) float64
        Of the hard rides. Smaller is worse.
    limits : (candidate, limit) float64
        Met at 0 or below.
    """

    costs: Floats
    margins: Floats
    limits: Floats

    def __len__(self) -> int:
        return len(self.costs)

    def taken(self, rows: slice | NDArray[np.intp]) -> Self:
        """Return the components of some candidates."""
        return type(self)(
            costs=self.costs[rows], margins=self.margins[rows], limits=self.limits[rows]
        )

    def followed_by(self, later: Self) -> Self:
        """Return these components with those of later candidates after them."""
        if not len(self):
            return later
        return type(self)(
            costs=np.vstack([self.costs, later.costs]),
            margins=np.vstack([self.margins, later.margins]),
            limits=np.vstack([self.limits, later.limits]),
        )


def components_of_rides(columns: Floats, constraints: Floats, rules: ScoreRules) -> Components:
    """Return the components of ridden candidates.

    Parameters
    ----------
    columns : (candidate, ride, column) float64
        From `objectives.ride_scores.ride_columns`; all NaN where a candidate did not ride a ride.
    constraints : (candidate, constraint) float64
        From `objectives.score.score`, in the order of `CONSTRAINT_NAMES`.
    rules : ScoreRules
        Of the same rides.

    Returns
    -------
    Components
        NaN where a candidate did not ride a ride; that it ended there is not known, and 0. Limits
        of rolling back, of shaking at rest and of late warnings are tighter than the constraints'
        own.
    """
    own, _, hard = rules.parts(columns)

    def column(name: str) -> Floats:
        values: Floats = own[:, :, RIDE_COLUMNS.index(name)]
        return values

    outcome = outcome_codes(own)
    nose_down, other = early_ends(outcome)
    shake = column("hold_pitch_rate_rms_deg_per_s")[:, rules.is_standing]
    inside = _NEARLY_SHAKES * (1.0 - rules.settings.noise_margin_ratio)
    allowed = inside * rules.settings.rest_shake_limit_deg_per_s
    return Components(
        costs=np.hstack(
            [
                column("level_error_deg")[:, rules.counts_level],
                column("excess_current_a")[:, rules.counts_current],
            ]
        ),
        margins=hard_margins(hard),
        limits=np.hstack(
            [
                nose_down,
                other & (outcome != Outcome.SPEED_LOST),
                np.maximum(column("roll_back_ratio"), _HARDLY_BACK) - _NEARLY_LOST,
                logarithm(np.maximum(shake / allowed, _STILL)),
                constraints[:, _AS_THEY_ARE] + _CAUTION,
            ]
        ),
    )


def score_of_components(components: Components, rules: ScoreRules) -> tuple[Floats, Floats]:
    """Return objectives and constraints of candidates that are predicted to ride to the end.

    Parameters
    ----------
    components : Components
        As of `components_of_rides`, without NaN; a prediction of an early end may be any number,
        above 0 where an end is predicted.
    rules : ScoreRules

    Returns
    -------
    objectives : (candidate, objective) float64
    constraints : (candidate, constraint) float64
        Met at 0 or below; in another order than `CONSTRAINT_NAMES`.
    """
    n_rides, n_level = len(rules.ride_weight), int(rules.counts_level.sum())
    level, current = np.split(components.costs, [n_level], axis=1)
    n_standing = int(rules.is_standing.sum())
    nose_down, other, roll_back, shake, as_they_are = np.split(
        components.limits, np.cumsum([n_rides, n_rides, n_rides, n_standing]), axis=1
    )
    if rules.day is None:
        raise ValueError("rules.day: a nose-down rate needs hard rides, got none")
    rate = blended_rate(nearness(components.margins), rules.day)
    objectives = np.column_stack([blended(level, current, rules), rate])
    ends = broken_by_ends(
        np.maximum(nose_down, 0.0),
        np.maximum(np.maximum(other, roll_back), 0.0),
        rules.ride_weight,
        nose_down_share=rules.settings.nose_down_share,
    )
    constraints = [*ends, *as_they_are.T]
    if n_standing:
        constraints.append(shake.max(axis=1))
    return objectives, np.column_stack(constraints)
