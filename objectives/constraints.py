"""What a profile must not do, each as a number that is met at 0 or below.

Every constraint is scaled to about 1 at a gross violation and keeps falling once met, so a search
can distinguish a near miss from a hopeless case.
"""

import math

import numpy as np
from numpy.typing import NDArray

from objectives.portfolio import weighted_sum
from objectives.ride_scores import Codes, ended_early
from objectives.score_settings import ScoreSettings
from objectives.scoring_context import ScoreRules
from plant.arrays import Floats
from plant.kernel.outcomes import Outcome
from plant.linear.loop_limits import LoopLimits
from plant.linear.margins import Margins

CONSTRAINT_NAMES = (
    "nose_down",  # share of ride weight that ended nose down, less the share allowed
    "other_end",  # share of ride weight that ended early otherwise
    "sensitivity",  # 1/limit less the least distance of the loop to -1
    "phase_margin",  # 1 less phase margin over the asked one
    "gain_margin",  # log of the asked gain margin over the one found
    "closed_loop",  # unstable poles of the linearised loop
    "rest_shake",  # RMS pitch rate of the worst standing ride over its limit, less 1
    "feel_band",  # distance outside the wanted band, over the band's width
    "rider_spread",  # spread over its limit, less 1
    "warned",  # share of time warned beyond the baseline's over its limit, less 1
    "climb_speed",  # share by which climbs are slower than the baseline's over its limit, less 1
    "late_warning",  # 1 less the shortest warning of a rider who leans too far over the asked one
    "handling_end",  # rides that measure handling and end early, in number
    "handling",  # farthest of its numbers outside what is asked of them
    "tolerances",  # nose-downs of drawn boards and riders beyond the best's, re-evaluated ones only
)
NOT_ASKED = -1.0  # the value of a constraint that the settings or the rides do not ask for
NOT_MEASURED = 1.0  # assumed: what is asked and was nowhere to be seen is a gross violation
_ONE_SIDED_FEEL_DEG_PER_MPS2 = 1.0  # assumed: so far beyond one limit is a gross violation
_FARTHEST = 3.0  # margins without limit, and their loss, stay numbers


def ending_constraints(
    outcome: Codes, ride_weight: Floats, *, nose_down_share: float
) -> tuple[Floats, Floats]:
    """Return the constraints on nose-downs and on other early ends, each (candidate,).

    Parameters
    ----------
    outcome : (candidate, ride) int8
        From `objectives.ride_scores.outcome_codes`. A ride that was not ridden counts for nothing
        here, and whatever it would have brought can only add to either constraint.
    ride_weight : (ride,) float64
    nose_down_share : float
        Share of the weight that may end nose down.
    """
    nose_down, other = early_ends(outcome)
    return broken_by_ends(nose_down, other, ride_weight, nose_down_share=nose_down_share)


def early_ends(outcome: Codes) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Say which rides ended nose down, and which ended early otherwise, each (candidate, ride)."""
    nose_down = outcome == Outcome.NOSE_DOWN
    return nose_down, ended_early(outcome) & ~nose_down


def broken_by_ends(
    nose_down: Floats | NDArray[np.bool_],
    other: Floats | NDArray[np.bool_],
    ride_weight: Floats,
    *,
    nose_down_share: float,
) -> tuple[Floats, Floats]:
    """Return `ending_constraints` of early ends, from 0, none, up to 1, each (candidate, ride)."""
    weight = ride_weight / ride_weight.sum()
    return weighted_sum(nose_down, weight) - nose_down_share, weighted_sum(other, weight)


def loop_constraints(margins: Margins, settings: ScoreSettings) -> tuple[Floats, ...]:
    """Return the constraints on sensitivity, phase, gain and stability, each (candidate,).

    Each is that of the worst gain point and rider. For an unstable loop the distances to the
    limit of stability turn their sign, so the constraints pass smoothly through that limit.

    Parameters
    ----------
    margins : Margins
        Arrays of (candidate, gain point, rider), or of other axes after the first.
    settings : ScoreSettings
    """
    side = np.where(margins.stable, 1.0, -1.0)
    sensitivity = 1.0 / settings.sensitivity_limit - side * margins.modulus
    phase = 1.0 - side * margins.phase_deg / settings.phase_margin_deg
    gain = math.log(settings.gain_margin_ratio) - side * margins.gain_room
    unstable = margins.n_unstable.astype(np.float64)
    return tuple(
        np.clip(values, -_FARTHEST, _FARTHEST).max(axis=tuple(range(1, values.ndim)))
        for values in (sensitivity, phase, gain, unstable)
    )


def loop_limits(settings: ScoreSettings) -> LoopLimits:
    """Return the limits at which `loop_constraints` are met."""
    return LoopLimits(
        modulus=1.0 / settings.sensitivity_limit,
        gain_ratio=settings.gain_margin_ratio,
        phase_deg=settings.phase_margin_deg,
    )


def rest_constraint(pitch_rate_rms_deg_per_s: Floats, rules: ScoreRules) -> Floats:
    """Return the constraint on shaking at rest, (candidate,), by the standing rides ridden.

    Parameters
    ----------
    pitch_rate_rms_deg_per_s : (candidate, ride) float64
        NaN where a ride was not ridden.
    rules : ScoreRules
    """
    standing = pitch_rate_rms_deg_per_s[:, rules.is_standing]
    if standing.shape[1] == 0:
        return np.full(len(standing), NOT_ASKED)
    worst: Floats = np.fmax.reduce(standing, axis=1)
    limit = rules.settings.rest_shake_limit_deg_per_s * (1.0 - rules.settings.noise_margin_ratio)
    return asked(worst / limit - 1.0)


def feel_constraint(
    feel_deg_per_mps2: Floats, all_ridden: NDArray[np.bool_], settings: ScoreSettings
) -> Floats:
    """Return the constraint on the feel band, (candidate,).

    Parameters
    ----------
    feel_deg_per_mps2 : (candidate,) float64
        NaN where no ride has it.
    all_ridden : (candidate,) bool
        Every ride was ridden. A feel that all rides left unknown breaks a band of two ends that is
        asked; where rides were left out, it is not asked for.
    settings : ScoreSettings
    """
    low, high = settings.feel_low_deg_per_mps2, settings.feel_high_deg_per_mps2
    if low is None and high is None:
        return np.full(len(feel_deg_per_mps2), NOT_ASKED)
    both = low is not None and high is not None
    low, high = -np.inf if low is None else low, np.inf if high is None else high
    outside = np.maximum(low - feel_deg_per_mps2, feel_deg_per_mps2 - high)
    unknown = np.isnan(outside) & all_ridden & np.array(both)
    width = high - low if both else _ONE_SIDED_FEEL_DEG_PER_MPS2
    return asked(np.where(unknown, NOT_MEASURED, outside / width))


def spread_constraint(rider_spread_ratio: Floats, settings: ScoreSettings) -> Floats:
    """Return the constraint on the spread between riders, (candidate,), from that spread.

    A spread that is not known, NaN, is not asked for.
    """
    if settings.rider_spread_limit is None:
        return np.full(len(rider_spread_ratio), NOT_ASKED)
    return asked(rider_spread_ratio / settings.rider_spread_limit - 1.0)


def asked(constraint: Floats) -> Floats:
    """Return a constraint as not asked for where it is not known."""
    return np.where(np.isnan(constraint), NOT_ASKED, constraint)
