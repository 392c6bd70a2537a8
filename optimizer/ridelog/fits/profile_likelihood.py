"""Ends of an interval by profile likelihood, where a parabola can not be trusted.

At each trial value of one unknown the others are fitted anew (Bates & Watts 1988, Nonlinear
Regression Analysis, chapter 6). An interval holds every value at which the loss rises by no more
than a parabola of the bootstrap's width would, so the profile's height is adjusted to the scatter
between blocks (after Chandler & Bate 2007, Biometrika 94:167; from memory).

The search is hand-written. MINOS of the library iminuit found all ends for one of three invented
controllers only: the same ends, in five times the time. Library lmfit (1.3.4) fits the others anew
by plain least squares alone, without Cauchy's loss, and does not report a value of less loss.
"""

import dataclasses
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from optimizer.ridelog.fits.cauchy_loss import Loss
from plant.arrays import Floats

_PARABOLIC = 0.1  # assumed: the rise may differ so much from the parabola's
_CLOSE = 0.02  # of the square root of the allowed rise, at which the search for an end stops
_MOST_TRIALS = 9
_VAGUE = 3.0  # half an interval over the value
_LOWER = 0.02  # of the allowed rise: from which another minimum is believed


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ends:
    """Ends of the intervals.

    Attributes
    ----------
    low, high : (unknown,) float64
    profiled : (unknown,) bool
        Where the ends come from the profile.
    better : (unknown,) float64 or None
        The first value of less loss that was met on the way.
    """

    low: Floats
    high: Floats
    profiled: NDArray[np.bool_]
    better: Floats | None = None


def profile_ends(
    loss: Loss, value: Floats, half: Floats, curvature: Floats, *, past_better: bool = False
) -> Ends:
    """Return the ends of every interval, by profile where the rise is not a parabola's.

    A value of less loss ends the search for the ends, as it is a better place to search from.

    Parameters
    ----------
    loss : Loss
    value : (unknown,) float64
        Where the loss is least.
    half : (unknown,) float64
        Half the interval of the linearised bootstrap.
    curvature : (unknown, unknown) float64
        Second derivatives of half of `loss` there.
    past_better : bool
        Search on past values of less loss; the intervals then hold them.
    """
    least = loss(value)
    inverse = np.linalg.pinv(curvature, hermitian=True)
    low, high = np.maximum(value - half, loss.low), np.minimum(value + half, loss.high)
    profiled = np.zeros(len(value), dtype=bool)
    better = None
    for place in range(len(value)):
        spread = inverse[place, place]
        # What the parabola calls vague stays so: such a number is not used.
        if not half[place] < _VAGUE * abs(value[place]) or spread <= 0.0:
            continue
        allowed = half[place] ** 2 / spread
        # The way that the others go with this one, as the parabola has it.
        along = inverse[place] / spread
        if all(abs(rise / allowed - 1.0) < _PARABOLIC for rise in _rises(
            loss, value, least, along * half[place]
        )):  # fmt: skip
            continue
        profiled[place] = True
        for sign in (-1.0, 1.0):
            headroom = (
                value[place] - loss.low[place] if sign < 0.0 else loss.high[place] - value[place]
            )
            size, met = _distance_to_end(
                loss,
                value,
                sign * along,
                place=place,
                allowed=allowed,
                first=min(half[place], headroom),
                headroom=headroom,
                past_better=past_better,
            )
            better = met if better is None else better
            if better is not None and not past_better:
                return Ends(low=low, high=high, profiled=profiled, better=better)
            if sign < 0.0:
                low[place] = value[place] - size
            else:
                high[place] = value[place] + size
    return Ends(low=low, high=high, profiled=profiled, better=better)


def _rises(loss: Loss, value: Floats, least: float, step: Floats) -> Iterator[float]:
    for sign in (-1.0, 1.0):
        there = value + sign * step
        inside = np.all(there >= loss.low) and np.all(there <= loss.high)
        yield loss(there) - least if inside else math.inf


def _distance_to_end(
    loss: Loss,
    value: Floats,
    along: Floats,
    *,
    place: int,
    allowed: float,
    first: float,
    headroom: float,
    past_better: bool,
) -> tuple[float, Floats | None]:
    """Return how far the unknown may go one way, and the first value of less loss on that way."""
    least = loss(value)
    free = [other for other in range(len(value)) if other != place]
    # Square roots of rises, less that allowed: a parabola's are on a straight line.
    wanted = math.sqrt(allowed)
    inside, outside, size = (0.0, -wanted), (math.inf, math.inf), first
    better = None
    for _ in range(_MOST_TRIALS):
        there = np.clip(value + along * size, loss.low, loss.high)
        there = loss.least(there, free=free, quick=True) if free else there
        rise = loss(there) - least
        if rise < -_LOWER * allowed:
            better = there if better is None else better
            if not past_better:
                return size, better
        over = math.sqrt(max(rise, 0.0)) - wanted
        if abs(over) < _CLOSE * wanted or (over < 0.0 and size >= headroom):
            return size, better
        # The end that stays counts half (the Illinois rule), so that it does not stay for ever.
        if over < 0.0:
            inside, outside = (size, over), (outside[0], 0.5 * outside[1])
        else:
            inside, outside = (inside[0], 0.5 * inside[1]), (size, over)
        if math.isinf(outside[0]):
            size = min(size * min(max(wanted / max(over + wanted, 1e-9), 1.3), 4.0), headroom)
        else:
            share = inside[1] / (inside[1] - outside[1])
            size = inside[0] + (outside[0] - inside[0]) * min(max(share, 0.1), 0.9)
    return (inside if math.isinf(outside[0]) else outside)[0], better
