"""Lags of first order between the steps: exact where a formula for the whole step stands here."""

import math

from plant.compile import scalar


def lag_share(dt_s: float, time_s: float) -> float:
    """Return the share of the way a first-order lag goes in one step, 1 - exp(-dt/T)."""
    return -math.expm1(-dt_s / time_s)


def mean_share(dt_s: float, time_s: float) -> float:
    """Return the share of the way that a first-order lag has still to go, on a step's mean.

    The mean of exp(-t/T) over the step.
    """
    return lag_share(dt_s, time_s) * time_s / dt_s


@scalar
def lag_behind_ramp(value: float, start: float, end: float, share: float, ramp: float) -> float:
    """Return a first-order lag after a step in which its input goes straight from start to end.

    Exact, the ramp-invariant (triangle-hold) form: Franklin, Powell and Workman, "Digital Control
    of Dynamic Systems", 3rd ed., section 6.3. `share` is `lag_share` and `ramp` one less
    `mean_share`.
    """
    return value + (start - value) * share + (end - start) * ramp
