"""Margins and closed-loop stability of a loop, from its frequency response alone.

L is the loop transfer with the sign for which the closed loop is 1 / (1 + L). All functions work
on the last axis, points along the Nyquist contour; the axes before it are loops.
"""

import dataclasses
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]


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
        with np.errstate(divide="ignore"):
            return np.minimum(np.log(self.gain_up_ratio), -np.log(self.gain_down_ratio))

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
    square = flat.real**2
    imaginary = flat.imag
    square += imaginary**2
    on_axis = slice(first, None)
    modulus = _distance(flat[:, on_axis])
    turns, gain_up, gain_down = _real_axis(flat)
    phase, delay = _unit_circle(laplace_radps.imag[on_axis], flat[:, on_axis], square[:, on_axis])
    n_unstable = np.broadcast_to(n_open_unstable, shape) - turns.reshape(shape)
    return Margins(
        modulus=modulus.reshape(shape),
        gain_up_ratio=gain_up.reshape(shape),
        gain_down_ratio=gain_down.reshape(shape),
        phase_deg=phase.reshape(shape),
        delay_s=delay.reshape(shape),
        n_unstable=n_unstable,
    )


def _distance(flat: Complexes) -> Floats:
    """Return the least distance to -1 of each curve, straight between its points."""
    way_real, way_imag = np.diff(flat.real, axis=1), np.diff(flat.imag, axis=1)
    from_real, from_imag = flat.real[:, :-1] + 1.0, flat.imag[:, :-1]
    length = way_real**2 + way_imag**2
    along = way_real * from_real + way_imag * from_imag
    share = np.clip(-along / np.maximum(length, 1e-300), 0.0, 1.0)
    square = from_real**2 + from_imag**2 + share * (2.0 * along + share * length)
    least: Floats = np.sqrt(np.maximum(square.min(axis=1), 0.0))
    return least


def _real_axis(flat: Complexes) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return counterclockwise turns around -1, and the gain margins up and down."""
    n_loops = len(flat)
    imaginary = flat.imag[:, 1:]
    above = imaginary >= 0.0
    loop, point = np.nonzero(above[:, 1:] != above[:, :-1])
    here, there = flat[loop, point + 1], flat[loop, point + 2]
    share = here.imag / (here.imag - there.imag)
    place = here.real + share * (there.real - here.real)
    # The mirrored half of the contour doubles every crossing but the one at its start.
    turn = np.where(here.imag >= 0.0, 2, -2)
    loop = np.concatenate([loop, np.arange(n_loops)])
    place = np.concatenate([place, flat[:, 0].real])
    turn = np.concatenate([turn, np.where(above[:, 0], -1, 1)])

    beyond = place < -1.0
    turns = np.bincount(loop[beyond], weights=turn[beyond], minlength=n_loops).astype(np.int64)
    gain_down = np.zeros(n_loops)
    np.maximum.at(gain_down, loop[beyond], -1.0 / place[beyond])
    within = (place < 0.0) & ~beyond
    gain_up = np.full(n_loops, np.inf)
    np.minimum.at(gain_up, loop[within], -1.0 / place[within])
    return turns, gain_up, gain_down


def _unit_circle(frequency: Floats, flat: Complexes, square: Floats) -> tuple[Floats, Floats]:
    """Return phase margin in deg and delay margin in s."""
    n_loops = len(flat)
    inside = square < 1.0
    loop, point = np.nonzero(inside[:, 1:] != inside[:, :-1])
    here, there = flat[loop, point], flat[loop, point + 1]
    low, high = np.log(square[loop, point]), np.log(square[loop, point + 1])
    share = low / (low - high)
    phase = np.degrees(np.angle(-here) + share * np.angle(there / here))
    phase = 180.0 - (180.0 - phase) % 360.0
    crossover = frequency[point] * (frequency[point + 1] / frequency[point]) ** share
    delay = np.radians(phase % 360.0) / crossover
    least_phase = np.full(n_loops, np.inf)
    np.minimum.at(least_phase, loop, np.abs(phase))
    least_delay = np.full(n_loops, np.inf)
    np.minimum.at(least_delay, loop, delay)
    return least_phase, least_delay
