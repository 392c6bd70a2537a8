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
from plant.physics.scalar_math import clip, larger, smaller

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]

_LEAST = 1e-300  # of a squared length that is divided by


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
    Crossings of the negative real axis give the turns and the gain margins at once; between two
    points the curve is taken as straight, so the grid must resolve every sharp mode.
    """
    shape = loop.shape[:-1]
    flat = loop.reshape(-1, loop.shape[-1])
    first = int(np.flatnonzero(laplace_radps.real == 0.0)[0])
    measured = np.empty((6, len(flat)))
    _measure(
        np.stack([flat.real, flat.imag]),
        np.ascontiguousarray(laplace_radps.imag),
        first,
        measured,
    )
    modulus, turns, gain_up, gain_down, phase, delay = (each.reshape(shape) for each in measured)
    return Margins(
        modulus=modulus,
        gain_up_ratio=gain_up,
        gain_down_ratio=gain_down,
        phase_deg=phase,
        delay_s=delay,
        n_unstable=np.broadcast_to(n_open_unstable, shape) - turns.astype(np.int64),
    )


@kernel
def _measure(curves: Floats, frequency: Floats, first: int, measured: Floats) -> None:
    """Write the six measures of each loop, (measure, loop); the frequencies begin at `first`.

    `curves` are real and imaginary parts, (2, loop, point).
    """
    real, imag = curves[0], curves[1]
    squared = np.empty(real.shape[1])
    for loop in range(real.shape[0]):
        re, im = real[loop], imag[loop]
        measured[0, loop] = _distance(re, im, first, squared)
        turns, up, down = _real_axis(re, im)
        measured[1, loop], measured[2, loop], measured[3, loop] = turns, up, down
        measured[4, loop], measured[5, loop] = _unit_circle(re, im, frequency, first)


@scalar
def _distance(re: Floats, im: Floats, first: int, squared: Floats) -> float:
    """Return the least distance to -1 of a curve, straight between its points."""
    for k in range(first, re.shape[0] - 1):
        way_re, way_im = re[k + 1] - re[k], im[k + 1] - im[k]
        from_re, from_im = re[k] + 1.0, im[k]
        length = way_re * way_re + way_im * way_im
        along = way_re * from_re + way_im * from_im
        share = clip(-along / larger(length, _LEAST), 0.0, 1.0)
        there_re, there_im = from_re + share * way_re, from_im + share * way_im
        squared[k] = there_re * there_re + there_im * there_im
    least = math.inf
    for k in range(first, re.shape[0] - 1):
        least = smaller(squared[k], least)
    return math.sqrt(least)


@scalar
def _real_axis(re: Floats, im: Floats) -> tuple[float, float, float]:
    """Return counterclockwise turns around -1, and the gain margins up and down."""
    turns, up, down = 0.0, math.inf, 0.0
    for k in range(re.shape[0] - 1):
        # The mirrored half of the contour doubles every crossing but the one at its start.
        place, turn = re[0], (-1.0 if im[1] >= 0.0 else 1.0)
        if k > 0:
            if (im[k] >= 0.0) == (im[k + 1] >= 0.0):
                continue
            share = im[k] / (im[k] - im[k + 1])
            place, turn = re[k] + share * (re[k + 1] - re[k]), (2.0 if im[k] >= 0.0 else -2.0)
        if place < -1.0:
            turns += turn
            down = max(down, -1.0 / place)
        elif place < 0.0:
            up = min(up, -1.0 / place)
    return turns, up, down


@scalar
def _unit_circle(re: Floats, im: Floats, frequency: Floats, first: int) -> tuple[float, float]:
    """Return phase margin in deg and delay margin in s."""
    least_phase, least_delay = math.inf, math.inf
    there = re[first] * re[first] + im[first] * im[first]
    for k in range(first, re.shape[0] - 1):
        here = there
        there = re[k + 1] * re[k + 1] + im[k + 1] * im[k + 1]
        if (here < 1.0) == (there < 1.0):
            continue
        low, high = math.log(here), math.log(there)
        share = low / (low - high)
        across = im[k + 1] * re[k] - re[k + 1] * im[k]
        towards = re[k + 1] * re[k] + im[k + 1] * im[k]
        turned = math.atan2(-im[k], -re[k]) + share * math.atan2(across, towards)
        phase = turned * DEG_PER_RAD
        phase = 180.0 - (180.0 - phase) % 360.0
        crossover = frequency[k] * math.exp(share * math.log(frequency[k + 1] / frequency[k]))
        least_phase = min(least_phase, abs(phase))
        least_delay = min(least_delay, (phase % 360.0) / DEG_PER_RAD / crossover)
    return least_phase, least_delay
