"""Noise by counter: the value depends on ride seed, step and channel, and on nothing else.

The generator is Philox4x32-10 of Salmon, Moraes, Dror and Shaw, "Parallel random numbers: as easy
as 1, 2, 3", SC11 (2011): a published keyed mixing of a 128-bit counter that passes BigCrush. The
ride's seed is its 64-bit key and the step its counter, each mixed by itself: two rides of unlike
seeds have unlike sequences, not one sequence at two places.
"""

import numpy as np

from plant.compile import scalar

ROUNDS = 10

# Multipliers of a round and steps of the key's two halves, as published.
_MULTIPLIER_0 = np.uint64(0xD2511F53)
_MULTIPLIER_1 = np.uint64(0xCD9E8D57)
_KEY_STEP_0 = np.uint64(0x9E3779B9)
_KEY_STEP_1 = np.uint64(0xBB67AE85)

_WORD = np.uint64(0xFFFFFFFF)
_WORD_BITS = np.uint64(32)
_BYTE_BITS = np.uint64(8)
_HALF_BITS = np.uint64(16)
_EVEN_BYTES = np.uint64(0x00FF00FF)
_HALF = np.uint64(0xFFFF)
_NOUGHT = np.uint64(0)

# Sum of four bytes: mean 510, variance 4 (256^2 - 1) / 12.
_MEAN = 510.0
_SCALE = (12.0 / (4.0 * (256.0**2 - 1.0))) ** 0.5


@scalar
def philox(
    counter: tuple[np.uint64, np.uint64, np.uint64, np.uint64],
    key: tuple[np.uint64, np.uint64],
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Return the four 32-bit words of Philox4x32-10 for a counter under a key.

    Parameters
    ----------
    counter : (4,) uint64
        The counter's words, each below 2**32, least significant first.
    key : (2,) uint64
        The key's words, each below 2**32, least significant first.
    """
    word_0, word_1, word_2, word_3 = counter
    key_0, key_1 = key
    for _ in range(ROUNDS):
        product_0 = _MULTIPLIER_0 * word_0
        product_1 = _MULTIPLIER_1 * word_2
        word_0 = (product_1 >> _WORD_BITS) ^ word_1 ^ key_0
        word_2 = (product_0 >> _WORD_BITS) ^ word_3 ^ key_1
        word_1 = product_1 & _WORD
        word_3 = product_0 & _WORD
        key_0 = (key_0 + _KEY_STEP_0) & _WORD
        key_1 = (key_1 + _KEY_STEP_1) & _WORD
    return word_0, word_1, word_2, word_3


@scalar
def nearly_normal(word: np.uint64) -> float:
    """Return noise of zero mean and unit variance from a word of 32 random bits.

    The sum of the word's four bytes is nearly normal (Irwin-Hall of order 4): its excess kurtosis
    is -0.3, and its tail ends at 3.45 standard deviations. The sensors' lags and the sway's
    filter add up tens of steps, so that what a controller is given is normal well beyond that.
    """
    # Sum of bytes without widening: pairs of bytes first.
    pairs = (word & _EVEN_BYTES) + ((word >> _BYTE_BITS) & _EVEN_BYTES)
    total = (pairs & _HALF) + (pairs >> _HALF_BITS)
    return (np.int32(total) - _MEAN) * _SCALE


@scalar
def noise_of_step(key_low: float, key_high: float, step: int) -> tuple[float, float, float, float]:
    """Return the noise of all channels at one step, each of zero mean and unit variance.

    Parameters
    ----------
    key_low, key_high : float
        The two halves of the ride's seed, whole numbers below 2**32.
    step : int
        Counter of the time step, from 0.

    Returns
    -------
    gyro, accelerometer, yaw gyro, sway : float
    """
    counter = (np.uint64(step), _NOUGHT, _NOUGHT, _NOUGHT)
    key = (np.uint64(np.uint32(key_low)), np.uint64(np.uint32(key_high)))
    gyro, accelerometer, yaw_gyro, sway = philox(counter, key)
    return (
        nearly_normal(gyro),
        nearly_normal(accelerometer),
        nearly_normal(yaw_gyro),
        nearly_normal(sway),
    )
