"""Margins and closed-loop stability of a loop, from its frequency response alone.

L is the loop transfer with the sign for which the closed loop is 1 / (1 + L). All functions work
on the last axis, points along the Nyquist contour; the axes before it are loops.
"""

import dataclasses
import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.compile import kernel, scalar
from plant.constants import DEG_PER_RAD
from plant.elementary import logarithm
from plant.physics.scalar_math import smaller

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]

_LEAST = 1e-300  # of a frequency whose logarithm is taken
_GOLDEN = 0.5 * (math.sqrt(5.0) - 1.0)
_SECTIONS = 10  # of the golden section: to a hundredth of the way between two points
_HALVINGS = 10  # of a crossing: to a thousandth of that way
_CLOSE = 2.0  # squared distance over the least on the grid, beyond which no dip is looked into


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """What separates each loop from the limit of stability, or from stability if unstable.

    Attributes
    ----------
    modulus : (...) float64
        Least distance of L to -1 along the frequencies.
    gain_up_ratio : (...) float64
        Least factor above 1 by which the gain may rise; inf without limit.
    gain_down_ratio : (...) float64
        Largest factor below 1 to which the gain may fall; 0 without limit.
    phase_deg : (...) float64
        Smallest phase, of either sign, from L to -1 at unit gain; inf without a crossover.
    delay_s : (...) float64
        Least added delay that reaches -1; inf without a crossover.
    n_unstable : (...) int64
        Closed-loop poles inside the contour.
    """

    modulus: Floats
    gain_up_ratio: Floats
    gain_down_ratio: Floats
    phase_deg: Floats
    delay_s: Floats
    n_unstable: NDArray[np.int64]

    @property
    def stable(self) -> NDArray[np.bool_]:
        """Whether no closed-loop pole is inside the contour."""
        return np.equal(self.n_unstable, 0)

    @property
    def gain_room(self) -> Floats:
        """Natural logarithm of the nearer gain margin, up or down; inf without limit."""
        return np.minimum(logarithm(self.gain_up_ratio), -logarithm(self.gain_down_ratio))

    @property
    def max_sensitivity(self) -> Floats:
        """Ms, the largest |1 / (1 + L)|; inf for an unstable loop."""
        with np.errstate(divide="ignore"):
            return np.where(self.stable, 1.0 / self.modulus, np.inf)


def nyquist_contour(frequency_radps: Floats, *, n_arc: int = 7) -> Complexes:
    """Return s along the upper half of the Nyquist contour.

    A quarter circle from the real axis to the lowest frequency passes poles at the origin and
    slower motions on the outside, then the imaginary axis goes to the highest frequency, where
    the loop must have faded.

    Parameters
    ----------
    frequency_radps : (frequency,) float64
        Rising, above zero.

    Returns
    -------
    (n_arc + frequency,) complex128
    """
    angle = np.linspace(0.0, np.pi / 2.0, n_arc, endpoint=False)
    axis = np.zeros(len(frequency_radps), dtype=np.complex128)
    axis.imag = frequency_radps
    return np.concatenate([frequency_radps[0] * np.exp(1j * angle), axis])


def margins(
    laplace_radps: Complexes, loop: Complexes, n_open_unstable: NDArray[np.int64]
) -> Margins:
    """Return the margins of each loop.

    Parameters
    ----------
    laplace_radps : (point,) complex128
        From `nyquist_contour`.
    loop : (..., point) complex128
        L at these points.
    n_open_unstable : (...) int64
        Poles of L inside the contour, right of the imaginary axis; broadcasts against the loops.

    Notes
    -----
    Nyquist: closed-loop unstable poles = open-loop ones less counterclockwise turns around -1.
    Crossings of the negative real axis give the turns and the gain margins at once. Between two
    points the curve is a cubic over the logarithm of the frequency, so the grid must still resolve
    every sharp mode.
    """
    return margins_of_curves(
        laplace_radps, np.stack([loop.real, loop.imag]), np.asarray(n_open_unstable)
    )


def margins_of_curves(
    laplace_radps: Complexes, curves: Floats, n_open_unstable: NDArray[np.int64]
) -> Margins:
    """Return `margins` of loops that are given by real and imaginary parts, (2, ..., point)."""
    shape = curves.shape[1:-1]
    first, place = contour_places(laplace_radps)
    measured = np.empty((6, math.prod(shape)))
    _measure(curves.reshape(2, -1, curves.shape[-1]), place, first, measured)
    modulus, turns, gain_up, gain_down, phase, delay = (each.reshape(shape) for each in measured)
    return Margins(
        modulus=modulus,
        gain_up_ratio=gain_up,
        gain_down_ratio=gain_down,
        phase_deg=phase,
        delay_s=delay,
        n_unstable=np.broadcast_to(n_open_unstable, shape) - turns.astype(np.int64),
    )


def contour_places(laplace_radps: Complexes) -> tuple[int, Floats]:
    """Return where frequencies begin on a contour, and the frequency's logarithm, (point,)."""
    first = int(np.flatnonzero(laplace_radps.real == 0.0)[0])
    return first, logarithm(np.maximum(np.ascontiguousarray(laplace_radps.imag), _LEAST))


@kernel
def _measure(curves: Floats, place: Floats, first: int, measured: Floats) -> None:
    """Write the six measures of each loop, (measure, loop); the frequencies begin at `first`.

    `curves` are real and imaginary parts, (2, loop, point); `place` is the frequency's logarithm.
    """
    real, imag = curves[0], curves[1]
    for loop in range(real.shape[0]):
        re, im = real[loop], imag[loop]
        measured[0, loop] = _distance(re, im, place, first)
        turns, up, down = real_axis(re, im, place, first)
        measured[1, loop], measured[2, loop], measured[3, loop] = turns, up, down
        measured[4, loop], measured[5, loop] = _unit_circle(re, im, place, first)


@scalar
def _between(re: Floats, im: Floats, place: Floats, start: int, at: float) -> tuple[float, float]:
    """Return the curve at a place, on the cubic through the four points from `start` on."""
    x0, x1, x2, x3 = place[start], place[start + 1], place[start + 2], place[start + 3]
    d0, d1, d2, d3 = at - x0, at - x1, at - x2, at - x3
    w0 = d1 * d2 * d3 / ((x0 - x1) * (x0 - x2) * (x0 - x3))
    w1 = d0 * d2 * d3 / ((x1 - x0) * (x1 - x2) * (x1 - x3))
    w2 = d0 * d1 * d3 / ((x2 - x0) * (x2 - x1) * (x2 - x3))
    w3 = d0 * d1 * d2 / ((x3 - x0) * (x3 - x1) * (x3 - x2))
    return (
        w0 * re[start] + w1 * re[start + 1] + w2 * re[start + 2] + w3 * re[start + 3],
        w0 * im[start] + w1 * im[start + 1] + w2 * im[start + 2] + w3 * im[start + 3],
    )


@scalar
def _stencil(k: int, first: int, n_points: int) -> int:
    """Return where four points begin that surround the one from `k` to `k + 1`."""
    return min(max(k - 1, first), n_points - 4)


@scalar
def apart(real: float, imag: float) -> float:
    """Return the squared distance to -1."""
    return (real + 1.0) * (real + 1.0) + imag * imag


@scalar
def _distance(re: Floats, im: Floats, place: Floats, first: int) -> float:
    """Return the least distance to -1 of a curve, smooth between its points.

    About each point nearer than its neighbours, by a search of the golden section.
    """
    n_points = re.shape[0]
    least = apart(re[first], im[first])
    for k in range(first + 1, n_points):
        least = smaller(least, apart(re[k], im[k]))
    for k in range(first + 1, n_points - 1):
        here = apart(re[k], im[k])
        if (
            here > _CLOSE * least
            or here > apart(re[k - 1], im[k - 1])
            or here > apart(re[k + 1], im[k + 1])
        ):
            continue
        for side in range(2):
            low, high = place[k - 1 + side], place[k + side]
            start = _stencil(k - 1 + side, first, n_points)
            for _ in range(_SECTIONS):
                left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
                left_re, left_im = _between(re, im, place, start, left)
                right_re, right_im = _between(re, im, place, start, right)
                if apart(left_re, left_im) < apart(right_re, right_im):
                    high = right
                else:
                    low = left
            mid_re, mid_im = _between(re, im, place, start, 0.5 * (low + high))
            least = smaller(least, apart(mid_re, mid_im))
    return math.sqrt(least)


@scalar
def real_axis(re: Floats, im: Floats, place: Floats, first: int) -> tuple[float, float, float]:
    """Return counterclockwise turns around -1, and the gain margins up and down."""
    turns, up, down = 0.0, math.inf, 0.0
    for k in range(re.shape[0] - 1):
        # The mirrored half of the contour doubles every crossing but the one at its start.
        crossing, turn = re[0], (-1.0 if im[1] >= 0.0 else 1.0)
        if k > 0:
            if (im[k] >= 0.0) == (im[k + 1] >= 0.0):
                continue
            share = im[k] / (im[k] - im[k + 1])
            crossing = re[k] + share * (re[k + 1] - re[k])
            turn = 2.0 if im[k] >= 0.0 else -2.0
            if k >= first:
                crossing = _crossing(re, im, place, k, first)
        if crossing < -1.0:
            turns += turn
            down = max(down, -1.0 / crossing)
        elif crossing < 0.0:
            up = min(up, -1.0 / crossing)
    return turns, up, down


@scalar
def _crossing(re: Floats, im: Floats, place: Floats, k: int, first: int) -> float:
    """Return where the curve crosses the real axis after point `k`."""
    start = _stencil(k, first, re.shape[0])
    low, high = place[k], place[k + 1]
    above = im[k] >= 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        _, here = _between(re, im, place, start, middle)
        if (here >= 0.0) == above:
            low = middle
        else:
            high = middle
    crossing, _ = _between(re, im, place, start, 0.5 * (low + high))
    return crossing


@scalar
def _unit_circle(re: Floats, im: Floats, place: Floats, first: int) -> tuple[float, float]:
    """Return phase margin in deg and delay margin in s."""
    least_phase, least_delay = math.inf, math.inf
    there = re[first] * re[first] + im[first] * im[first]
    for k in range(first, re.shape[0] - 1):
        here = there
        there = re[k + 1] * re[k + 1] + im[k + 1] * im[k + 1]
        if (here < 1.0) == (there < 1.0):
            continue
        start = _stencil(k, first, re.shape[0])
        low, high = place[k], place[k + 1]
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            at_re, at_im = _between(re, im, place, start, middle)
            if (at_re * at_re + at_im * at_im < 1.0) == (here < 1.0):
                low = middle
            else:
                high = middle
        at_re, at_im = _between(re, im, place, start, 0.5 * (low + high))
        phase = math.atan2(-at_im, -at_re) * DEG_PER_RAD
        crossover = math.exp(0.5 * (low + high))
        least_phase = min(least_phase, abs(phase))
        least_delay = min(least_delay, (phase % 360.0) / DEG_PER_RAD / crossover)
    return least_phase, least_delay
