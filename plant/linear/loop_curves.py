"""The balance loop as curves, compiled: what a candidate's law makes of a rider's plant.

A product that is not to be fused with the sum that it goes into has a name of its own: each is
rounded by itself. Real and imaginary parts have rows of their own, which a compiler packs.
"""

import numpy as np

from plant.arrays import Floats, Indices
from plant.compile import kernel, scalar
from plant.constants import DEG_PER_RAD

# Rows of a rider's plant, (6, point), each followed by that of its imaginary part.
PITCH, RATE, ACCEL = 0, 2, 4
# Rows of what is shared by all riders, (4, point): exp(-s T), and the law's integral over time.
STEP_BACK, SUMMED = 0, 2
# Columns of a candidate's gains; those before are its stiffness at each gain point.
N_GAIN_POINTS = 3
RATE_GAIN, RATE_SHARE, INTEGRAL_GAIN = 3, 4, 5
PASSED_RATIO, EXPECTED, INNER_GAIN, INNER_INTEGRAL, INNER_SHARE = 6, 7, 8, 9, 10
N_GAINS = 11
# Rows of a candidate's law, (8, point): what acts on rate and pitch, and of the loop inside what
# passes on the current asked for and what acts on the acceleration.
_ON_RATE, _ON_PITCH, _PASSED, _ON_ACCEL = 0, 2, 4, 6
N_LAW_ROWS = 8


@kernel
def write_curves(
    gains: Floats, plants: Floats, shared: Floats, loops: Indices, curves: Floats
) -> None:
    """Write some loops.

    Parameters
    ----------
    gains : (candidate, `N_GAINS`) float64
    plants : (rider, 6, point) float64
    shared : (4, point) float64
    loops : (3, loop) int
        Candidate, rider and gain point of each. What those in a row share is worked out once.
    curves : (2, loop, point) float64
        Real and imaginary parts.
    """
    law = np.empty((N_LAW_ROWS, shared.shape[1]), np.float64)
    steady = np.empty((2, shared.shape[1]), np.float64)
    last_candidate, last_rider = -1, -1
    for loop in range(loops.shape[1]):
        candidate, rider = loops[0, loop], loops[1, loop]
        if candidate != last_candidate:
            write_law(gains[candidate], shared, law)
        if candidate != last_candidate or rider != last_rider:
            write_steady(law, plants[rider], steady)
        last_candidate, last_rider = candidate, rider
        write_curve(gains[candidate], loops[2, loop], law, plants[rider], steady, curves[:, loop])


@scalar
def _is_nested(gains: Floats) -> bool:
    passes: bool = gains[PASSED_RATIO] == 1.0
    acts: bool = gains[INNER_GAIN] != 0.0 or gains[INNER_INTEGRAL] != 0.0
    return acts or not passes


@scalar
def _filtered(share: float, back_real: float, back_imag: float) -> tuple[float, float]:
    """Return a filter of first order that goes its share each step, share / (1 - (1 - share) z).

    The division is that of Smith 1962, Communications of the ACM 5(8): 435.
    """
    kept = 1.0 - share
    kept_re, kept_im = kept * back_real, kept * back_imag
    re, im = 1.0 - kept_re, -kept_im
    if abs(re) >= abs(im):
        ratio = im / re
        part = im * ratio
        scale = 1.0 / (re + part)
        return share * scale, -(share * ratio) * scale
    ratio = re / im
    part = re * ratio
    scale = 1.0 / (im + part)
    return share * ratio * scale, -share * scale


@scalar
def write_law(gains: Floats, shared: Floats, law: Floats) -> None:
    """Write what a candidate's law makes of rate, pitch and the loop inside, (8, point)."""
    for k in range(shared.shape[1]):
        re, im = _filtered(gains[RATE_SHARE], shared[STEP_BACK, k], shared[STEP_BACK + 1, k])
        law[_ON_RATE, k] = gains[RATE_GAIN] * re * DEG_PER_RAD
        law[_ON_RATE + 1, k] = gains[RATE_GAIN] * im * DEG_PER_RAD
        law[_ON_PITCH, k] = gains[INTEGRAL_GAIN] * (DEG_PER_RAD * shared[SUMMED, k])
        law[_ON_PITCH + 1, k] = gains[INTEGRAL_GAIN] * (DEG_PER_RAD * shared[SUMMED + 1, k])
    if not _is_nested(gains):
        return
    per_expected = 1.0 / gains[EXPECTED]
    for k in range(shared.shape[1]):
        held_re = gains[INNER_INTEGRAL] * shared[SUMMED, k]
        inner_re = gains[INNER_GAIN] + held_re
        inner_im = gains[INNER_INTEGRAL] * shared[SUMMED + 1, k]
        added = inner_re * per_expected
        law[_PASSED, k] = gains[PASSED_RATIO] + added
        law[_PASSED + 1, k] = inner_im * per_expected
        re, im = _filtered(gains[INNER_SHARE], shared[STEP_BACK, k], shared[STEP_BACK + 1, k])
        law[_ON_ACCEL, k], law[_ON_ACCEL + 1, k] = _times(inner_re, inner_im, re, im)


@scalar
def write_steady(law: Floats, plant: Floats, steady: Floats) -> None:
    """Write what damping and integral add to a rider's loop at every gain point, (2, point)."""
    for k in range(plant.shape[1]):
        rate_re, rate_im = _times(
            law[_ON_RATE, k], law[_ON_RATE + 1, k], plant[RATE, k], plant[RATE + 1, k]
        )
        held_re, held_im = _times(
            law[_ON_PITCH, k], law[_ON_PITCH + 1, k], plant[PITCH, k], plant[PITCH + 1, k]
        )
        steady[0, k], steady[1, k] = rate_re + held_re, rate_im + held_im


@scalar
def write_curve(
    gains: Floats, point: int, law: Floats, plant: Floats, steady: Floats, curve: Floats
) -> None:
    """Write a rider's loop at a gain point, (2, point): real and imaginary parts.

    With the inner controller g, the pitch loop's current o and the expected current E, the motor
    is asked for f o + g (o / E - a): both paths close through the same ampere.
    """
    stiffness = DEG_PER_RAD * gains[point]
    for k in range(plant.shape[1]):
        pulled_re, pulled_im = stiffness * plant[PITCH, k], stiffness * plant[PITCH + 1, k]
        curve[0, k], curve[1, k] = pulled_re + steady[0, k], pulled_im + steady[1, k]
    if not _is_nested(gains):
        return
    for k in range(plant.shape[1]):
        outer_re, outer_im = _times(law[_PASSED, k], law[_PASSED + 1, k], curve[0, k], curve[1, k])
        inner_re, inner_im = _times(
            law[_ON_ACCEL, k], law[_ON_ACCEL + 1, k], plant[ACCEL, k], plant[ACCEL + 1, k]
        )
        curve[0, k], curve[1, k] = outer_re + inner_re, outer_im + inner_im


@scalar
def _times(a: float, b: float, c: float, d: float) -> tuple[float, float]:
    """Return (a + b i) (c + d i), four products of real numbers each rounded."""
    ac, bd, ad, bc = a * c, b * d, a * d, b * c
    return ac - bd, ad + bc
