"""What is kept of one ride: its three objectives and its metrics, on (candidate, ride) arrays.

A ride that ended early scores worse than any ride that was ridden to its end, on each objective,
and worse the earlier it ended: otherwise falling soon would be the way to a low score.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats
from plant.elementary import exponential, log_of_one_more
from plant.kernel.outcomes import ROLL_BACK_LIMIT_MPS, Outcome
from plant.kernel.simulate import Ride, Rides

Codes: TypeAlias = NDArray[np.int8]

# Level error and counted excess current are as scored, with the penalty of an ended ride, and NaN
# where a ride has no such window; rolling back is a share of what loses the ride. The rise of the
# MOSFETs' temperature is over that at the start. The others are as ridden: feel is NaN where a ride
# never accelerates, or brakes, the start's jerk where none starts tail-down. All that is scored of
# a ride stands here, so that it can be scored again among other rides and by other settings.
RIDE_COLUMNS = (
    "level_error_deg",
    "peak_current_a",
    "nose_down_risk",
    "outcome",
    "ride_time_s",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "feel_deg_per_mps2",
    "vibration_mps2",
    "energy_wh",
    "tail_effort_ratio",
    "start_jerk_mps3",
    "excess_current_a",
    "mosfet_rise_k",
    "traction_peak_ratio",
    "hold_pitch_rate_rms_deg_per_s",
    "roll_back_ratio",
    "warned_ratio",
    "distance_m",
    "braking_feel_deg_per_mps2",
    "hold_pitch_mean_deg",
    "hold_pitch_most_deg",
)

# What of one ride is the worse the larger it is: shown ride by ride.
RIDE_COSTS = ("level_error_deg", "excess_current_a", "nose_down_risk")

NOT_RIDDEN = -1  # stands for an outcome where a candidate did not ride a ride

# An ended ride costs this share of the cap on top of the cap, and the share not ridden on top.
ENDED_SURCHARGE = 0.1
_SHORTEST_S = 1e-3  # no ride is shorter than a step
_JUST_LOST = 1e-3  # past the limit: a speed lost at the very end of a ride is lost all the same

# How far the least margin of a ride moves between rides that differ only in what no profile
# controls (assumed: one standard logistic width; a gust, a bump met at another moment). At three
# widths from the limit the risk is small: a reserve of 0.2 of the phase current limit, and a nose
# no lower than half-way to its contact, are taken as safe.
RESERVE_SCATTER_RATIO = 0.07
NOSE_SCATTER_RATIO = 0.16

RIDDEN_CEILING = 0.5  # a ride ridden to its end stays below this risk
NOSE_DOWN_FLOOR = 0.75  # a nose-down starts here, any other ended ride below it


def ride_columns(ridden: Rides, rides: Sequence[Ride]) -> Floats:
    """Return what is kept of each ride; it depends on that ride alone.

    Parameters
    ----------
    ridden : Rides
        From `plant.kernel.simulate.simulate`.
    rides : sequence of Ride
        What was ridden.

    Returns
    -------
    (candidate, ride, column) float64
        In the order of `RIDE_COLUMNS`.
    """
    manoeuvres = [ride.course.manoeuvre for ride in rides]
    limit_a = np.array([ride.board.drive.phase_current_limit_a for ride in rides])
    # A board held beyond its own contact angles is not held level at all.
    frames = [ride.board.frame for ride in rides]
    level_cap = np.array([max(frame.nose_contact_deg, frame.tail_contact_deg) for frame in frames])
    outcome = ridden.outcome
    not_ridden = share_not_ridden(
        ridden.column("ride_time_s"), np.array([ride.course.duration_s for ride in rides])
    )
    level = capped_cost(ridden.column("hold_pitch_rms_deg"), outcome, not_ridden, cap=level_cap)
    current = capped_cost(ridden.column("excess_current_a"), outcome, not_ridden, cap=limit_a)
    scored = {
        "level_error_deg": np.where([bool(m.hold_s) for m in manoeuvres], level, np.nan),
        "excess_current_a": np.where([bool(m.count_s) for m in manoeuvres], current, np.nan),
        "nose_down_risk": nose_down_risk(
            ridden.column("least_reserve_ratio"),
            ridden.column("least_nose_margin_ratio"),
            outcome,
            not_ridden,
        ),
        "outcome": outcome,
        "warned_ratio": ridden.column("warning_time_s")
        / np.maximum(ridden.column("ride_time_s"), _SHORTEST_S),
        "mosfet_rise_k": ridden.column("mosfet_peak_c")
        - np.array([manoeuvre.first_mosfet_c for manoeuvre in manoeuvres]),
        "roll_back_ratio": roll_back_ratio(ridden.column("roll_back_mps"), outcome, not_ridden),
    }
    columns = [scored[name] if name in scored else ridden.column(name) for name in RIDE_COLUMNS]
    return np.stack(columns, axis=-1).astype(np.float64)


def outcome_codes(columns: Floats) -> Codes:
    """Return how each ride ended, (candidate, ride) int8; `NOT_RIDDEN` where it was not ridden.

    Parameters
    ----------
    columns : (candidate, ride, column) float64
        From `ride_columns`; all NaN where a candidate did not ride a ride.
    """
    outcome = columns[:, :, RIDE_COLUMNS.index("outcome")]
    return np.where(np.isnan(outcome), NOT_RIDDEN, outcome).astype(np.int8)


def ended_early(outcome: Codes) -> NDArray[np.bool_]:
    """Say which rides were ridden, and not to their end."""
    return np.asarray((outcome != Outcome.RIDDEN) & (outcome != NOT_RIDDEN))


def share_not_ridden(ride_time_s: Floats, duration_s: Floats) -> Floats:
    """Return the share of each ride's duration that was left when it ended, 0 to 1.

    Parameters
    ----------
    ride_time_s : (candidate, ride) float64
    duration_s : (ride,) float64
    """
    return np.clip(1.0 - ride_time_s / duration_s, 0.0, 1.0)


def roll_back_ratio(fastest_mps: Floats, outcome: Codes, not_ridden: Floats) -> Floats:
    """Return how fast the board rolled back, in units of what loses the ride.

    At most 1 unless the speed was lost, be it by rolling back or otherwise; then above 1, and more
    the earlier that was, since what would have followed is not known.

    Parameters
    ----------
    fastest_mps : (candidate, ride) float64
        From 0 up.
    outcome : (candidate, ride) int8
        `plant.kernel.outcomes.Outcome`.
    not_ridden : (candidate, ride) float64
        From `share_not_ridden`.
    """
    ratio = np.minimum(fastest_mps / ROLL_BACK_LIMIT_MPS, 1.0)
    return np.where(outcome == Outcome.SPEED_LOST, 1.0 + _JUST_LOST + not_ridden, ratio)


def capped_cost(value: Floats, outcome: Codes, not_ridden: Floats, *, cap: Floats) -> Floats:
    """Return a measured cost, at most `cap`, or the penalty of a ride that ended early.

    Parameters
    ----------
    value : (candidate, ride) float64
        What was measured, from zero up; what an ended ride measured is not used.
    outcome : (candidate, ride) int8
        `plant.kernel.outcomes.Outcome`.
    not_ridden : (candidate, ride) float64
        From `share_not_ridden`.
    cap : (ride,) float64
        The worst a ridden ride can score.

    Returns
    -------
    (candidate, ride) float64
        An ended ride: cap (1 + ENDED_SURCHARGE + share not ridden).
    """
    penalty = cap * (1.0 + ENDED_SURCHARGE + not_ridden)
    return np.where(outcome == Outcome.RIDDEN, np.minimum(value, cap), penalty)


def nose_down_risk(
    reserve_ratio: Floats, nose_margin_ratio: Floats, outcome: Codes, not_ridden: Floats
) -> Floats:
    """Return a graded risk of a nose-down, 0 to 1, for each ride.

    Parameters
    ----------
    reserve_ratio : (candidate, ride) float64
        Least torque reserve over the phase current limit; negative where demand was larger than
        what was available.
    nose_margin_ratio : (candidate, ride) float64
        Least pitch margin, 1 level and 0 at nose contact.
    outcome : (candidate, ride) int8
        `plant.kernel.outcomes.Outcome`.
    not_ridden : (candidate, ride) float64
        From `share_not_ridden`.

    Returns
    -------
    (candidate, ride) float64
        Below `RIDDEN_CEILING` for a ridden ride, falling strictly with each margin; from there
        to `NOSE_DOWN_FLOOR` for an ended one; above for a nose-down, 1 when at the very start.

    Notes
    -----
    The shortfall expected of a margin m that scatters by a logistic distribution of width w is
    w ln(1 + exp(-m/w)): convex, never zero, a straight line once m is well below zero. Both
    shortfalls, in widths, add up to x, and x / (1 + x) brings them below one.
    """
    other_end = RIDDEN_CEILING + (NOSE_DOWN_FLOOR - RIDDEN_CEILING) * not_ridden
    nose_down = NOSE_DOWN_FLOOR + (1.0 - NOSE_DOWN_FLOOR) * not_ridden
    ended = np.where(outcome == Outcome.NOSE_DOWN, nose_down, other_end)
    ridden = ridden_risk(reserve_ratio, nose_margin_ratio)
    return np.where(outcome == Outcome.RIDDEN, ridden, ended)


def ridden_risk(reserve_ratio: Floats, nose_margin_ratio: Floats) -> Floats:
    """Return the risk of rides ridden to their end; see `nose_down_risk`."""
    shortfall = _shortfall(reserve_ratio, RESERVE_SCATTER_RATIO) + _shortfall(
        nose_margin_ratio, NOSE_SCATTER_RATIO
    )
    ridden: Floats = RIDDEN_CEILING * shortfall / (1.0 + shortfall)
    return ridden


def _shortfall(margin: Floats, width: float) -> Floats:
    """Return the expected shortfall of a scattering margin, ln(1 + exp(-margin / width))."""
    widths = margin / width
    beyond: Floats = np.maximum(-widths, 0.0) + log_of_one_more(exponential(-np.abs(widths)))
    return beyond
