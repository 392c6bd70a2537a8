"""Whether loops keep limits of their margins, most of them by bounds and without the margins.

Between two points a curve is the cubic through four. It differs from the straight line through the
two by how far the others are from that line, times their weights. Where such bounds keep a curve
off -1, all that is left is how often it turns around it. Where they do not, only the margins say.
"""

import dataclasses
import enum
import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats, Indices
from plant.compile import kernel, scalar
from plant.constants import DEG_PER_RAD
from plant.linear.balance_loop import LoopGains, LoopPlant
from plant.linear.loop_curves import (
    N_GAIN_POINTS,
    N_LAW_ROWS,
    write_curve,
    write_law,
    write_steady,
)
from plant.linear.margins import apart, contour_places, real_axis
from plant.physics.scalar_math import magnitude, smaller

_Beside: TypeAlias = tuple[Indices, Floats, Floats]
_SLACK = 1e-6  # of each limit: far more than rounding


class Judged(enum.IntEnum):
    """What bounds say of a loop."""

    KEEPS = 0
    OPEN = 1  # the margins say
    BREAKS = 2


_KEEPS, _OPEN, _BREAKS = map(int, Judged)  # for the compiler


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class LoopLimits:
    """What each loop must keep, apart from being stable.

    Attributes
    ----------
    modulus : float
        Least distance to -1.
    gain_ratio : float
        Least factor by which the gain may rise, and fall; above 1.
    phase_deg : float
        Least phase margin.
    """

    modulus: float
    gain_ratio: float
    phase_deg: float


def judged_loops(plant: LoopPlant, gains: LoopGains, limits: LoopLimits) -> NDArray[np.int8]:
    """Return `Judged` of each loop, (candidate, rider, gain point).

    After the first rider with whom a candidate breaks a limit, the others are left as `KEEPS`.
    """
    first, place = contour_places(plant.laplace_radps)
    # Beyond a right angle bounds along the two limits of phase say nothing.
    phase_deg = limits.phase_deg if limits.phase_deg < 90.0 else math.nan
    phase_rad = (1.0 + _SLACK) * phase_deg / DEG_PER_RAD
    shape = len(gains.rate_filter_hz), len(plant.n_unstable), N_GAIN_POINTS
    judged = np.full(shape, Judged.KEEPS, np.int8)
    _judge(
        gains.table,
        plant.responses,
        plant.shared,
        plant.n_unstable,
        (first, place, _beside(place, first)),
        (
            limits.modulus,
            ((1.0 + _SLACK) * limits.modulus) ** 2,
            (1.0 + _SLACK) * limits.gain_ratio,
            math.sin(phase_rad),
            math.cos(phase_rad),
        ),
        judged,
    )
    return judged


def _beside(place: Floats, first: int) -> tuple[Indices, Floats, Floats]:
    """Return of each interval's cubic the two other points, where they lie, and their weights.

    Each (2, interval), of the intervals from `first` on. They lie so many widths of the interval
    from its start; their weights within it are at most as large.
    """
    n_points = len(place)
    intervals = np.arange(first, n_points - 1)
    starts = np.clip(intervals - 1, first, n_points - 4)
    stencils = starts[:, None] + np.arange(4)
    is_other = (stencils != intervals[:, None]) & (stencils != intervals[:, None] + 1)
    others = np.ascontiguousarray(stencils[is_other].reshape(-1, 2).T)
    widths = (place[others] - place[intervals]) / (place[intervals + 1] - place[intervals])
    opposite = widths[::-1]
    furthest = np.maximum(np.abs(opposite), np.abs(opposite - 1.0))
    return others, widths, 0.25 * furthest / np.abs(widths * (widths - 1.0) * (widths - opposite))


@kernel
def _judge(
    gains: Floats,
    plants: Floats,
    shared: Floats,
    n_unstable: NDArray[np.int64],
    grid: tuple[int, Floats, _Beside],
    limits: tuple[float, float, float, float, float],
    judged: NDArray[np.int8],
) -> None:
    n_points = shared.shape[1]
    law = np.empty((N_LAW_ROWS, n_points), np.float64)
    steady = np.empty((2, n_points), np.float64)
    curve = np.empty((2, n_points), np.float64)
    for candidate in range(gains.shape[0]):
        own = gains[candidate]
        write_law(own, shared, law)
        for rider in range(plants.shape[0]):
            write_steady(law, plants[rider], steady)
            breaks = False
            for point in range(N_GAIN_POINTS):
                write_curve(own, point, law, plants[rider], steady, curve)
                found = _judge_curve(curve, n_unstable[rider], grid, limits)
                judged[candidate, rider, point] = found
                breaks = breaks or found == _BREAKS
            if breaks:
                break


@scalar
def _judge_curve(
    curve: Floats,
    n_unstable: int,
    grid: tuple[int, Floats, _Beside],
    limits: tuple[float, float, float, float, float],
) -> int:
    """Return `Judged` of one loop."""
    first, place, beside = grid
    modulus, off, gain_ratio, sine, cosine = limits
    re, im = curve[0], curve[1]
    if not _stays_off(re, im, first, beside, off):
        least = math.inf
        for k in range(first, re.shape[0]):
            least = smaller(least, apart(re[k], im[k]))
        # Between its points a curve may be nearer, and an unstable loop breaks a limit too.
        return _BREAKS if math.sqrt(least) < modulus else _OPEN
    if not _crosses_apart(re, im, first, beside, gain_ratio, sine, cosine):
        return _OPEN
    # The straight line between two points passes -1 on the same side as the cubic does.
    turns, up, down = real_axis(re, im, place, re.shape[0])
    if turns != n_unstable:
        return _BREAKS
    return _KEEPS if up >= gain_ratio and down * gain_ratio <= 1.0 else _OPEN


@scalar
def _stays_off(re: Floats, im: Floats, first: int, beside: _Beside, off: float) -> bool:
    """Say whether a curve surely stays off -1 by more than a distance, given as its square.

    Between two points it is bounded along the direction from -1 to the middle of the two.
    """
    _, widths, weights = beside
    # Cut here, places begin at 0: a compiler that can not rule out negative ones takes one a time.
    re_a, re_b, re_c, re_d = re[first:], re[first + 1 :], re[first + 2 :], re[first + 3 :]
    im_a, im_b, im_c, im_d = im[first:], im[first + 1 :], im[first + 2 :], im[first + 3 :]
    at_a, at_d, by_a, by_d = widths[0, 1:], widths[1, 1:], weights[0, 1:], weights[1, 1:]
    n_kept = 0
    for k in range(re_d.shape[0]):
        x, y = re_b[k] + re_c[k] + 2.0, im_b[k] + im_c[k]
        b, c = x * re_b[k] + y * im_b[k], x * re_c[k] + y * im_c[k]
        a, d = x * re_a[k] + y * im_a[k], x * re_d[k] + y * im_d[k]
        least = x + _lower(b, c, a, d, at_a[k], at_d[k], by_a[k], by_d[k])
        n_kept += 1 if (least > 0.0) & (least * least >= off * (x * x + y * y)) else 0
    for place in (0, widths.shape[1] - 1):
        k = first + place
        x, y = re[k] + re[k + 1] + 2.0, im[k] + im[k + 1]
        least = x + _lowest(re, im, k, first, beside, (x, y))
        n_kept += 1 if (least > 0.0) & (least * least >= off * (x * x + y * y)) else 0
    stays: bool = n_kept == widths.shape[1]
    return stays


@scalar
def _lowest(
    re: Floats, im: Floats, k: int, first: int, beside: _Beside, by: tuple[float, float]
) -> float:
    """Return a bound of `by` times real and imaginary part, summed, from point `k` to the next."""
    x, y = by
    others, widths, weights = beside
    place = k - first
    one, two = others[0, place], others[1, place]
    return _lower(
        x * re[k] + y * im[k],
        x * re[k + 1] + y * im[k + 1],
        x * re[one] + y * im[one],
        x * re[two] + y * im[two],
        widths[0, place],
        widths[1, place],
        weights[0, place],
        weights[1, place],
    )


@scalar
def _lower(
    start: float,
    end: float,
    one: float,
    two: float,
    width_one: float,
    width_two: float,
    weight_one: float,
    weight_two: float,
) -> float:
    """Return a bound of a cubic between two of its four points.

    It differs from the straight line through the two by what the others do, times their weights.
    """
    beyond_one = magnitude(one - start - width_one * (end - start))
    beyond_two = magnitude(two - start - width_two * (end - start))
    return smaller(start, end) - weight_one * beyond_one - weight_two * beyond_two


@scalar
def _crosses_apart(
    re: Floats,
    im: Floats,
    first: int,
    beside: _Beside,
    gain_ratio: float,
    sine: float,
    cosine: float,
) -> bool:
    """Say whether a curve surely crosses real axis and unit circle far enough from -1.

    The limits of phase are two rays from 0. What is on the right of one of the lines through them
    is not between them.
    """
    there = re[first] * re[first] + im[first] * im[first]
    for k in range(first, re.shape[0] - 1):
        here = there
        there = re[k + 1] * re[k + 1] + im[k + 1] * im[k + 1]
        if (here < 1.0) != (there < 1.0) and not (
            _lowest(re, im, k, first, beside, (sine, cosine)) > 0.0
            or _lowest(re, im, k, first, beside, (sine, -cosine)) > 0.0
        ):
            return False
        if (im[k] >= 0.0) != (im[k + 1] >= 0.0) and not (
            _lowest(re, im, k, first, beside, (1.0, 0.0)) * gain_ratio > -1.0
            or _lowest(re, im, k, first, beside, (-1.0, 0.0)) > gain_ratio
        ):
            return False
    return True
