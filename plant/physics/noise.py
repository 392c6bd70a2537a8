"""Noise by counter: the value depends on ride seed, step and channel, and on nothing else."""

import numpy as np

from plant.compile import scalar

GYRO = 1
YAW_GYRO = 2
SWAY = 3
ACCELEROMETER = 4

# Sum of four bytes: mean 510, variance 4 (256^2 - 1) / 12.
_MEAN = 510.0
_SCALE = (12.0 / (4.0 * (256.0**2 - 1.0))) ** 0.5


@scalar
def counter_noise(seed: float, step: int, channel: int) -> float:
    """Return noise of zero mean and unit variance, close to normal within 3.45 sigma.

    Parameters
    ----------
    seed : float
        A whole number below 2**32.
    step, channel : int
        Counter of the time step and number of the noise channel.

    Notes
    -----
    Two rounds of a 32-bit multiply-xorshift hash; the sum of the four bytes of the result is
    nearly normal (Irwin-Hall of order 4). Every intermediate is cast, as numba would widen it.
    """
    h = np.uint32(np.uint32(seed) + np.uint32(np.uint32(step) * np.uint32(0x9E3779B9)))
    h = np.uint32(h ^ np.uint32(np.uint32(channel) * np.uint32(0x85EBCA6B)))
    h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(16))) * np.uint32(0x7FEB352D))
    h = np.uint32(np.uint32(h ^ np.uint32(h >> np.uint32(15))) * np.uint32(0x846CA68B))
    h = np.uint32(h ^ np.uint32(h >> np.uint32(16)))
    # Sum of bytes without widening: pairs of bytes first.
    pairs = np.uint32(
        np.uint32(h & np.uint32(0x00FF00FF))
        + np.uint32(np.uint32(h >> np.uint32(8)) & np.uint32(0x00FF00FF))
    )
    total = np.uint32(np.uint32(pairs & np.uint32(0xFFFF)) + np.uint32(pairs >> np.uint32(16)))
    return (np.int32(total) - _MEAN) * _SCALE
