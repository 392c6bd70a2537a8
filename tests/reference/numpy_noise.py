"""Counter noise over a batch of lanes: Philox4x32-10 as its paper writes it.

J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw, "Parallel random numbers: as easy as 1, 2, 3",
SC11 (2011), section 3.3 and table 2.
"""

import numpy as np
from numpy.typing import NDArray

CHANNELS = ("gyro", "accelerometer", "yaw_gyro", "sway")
_MULTIPLIERS = (0xD2511F53, 0xCD9E8D57)
_WEYL = (0x9E3779B9, 0xBB67AE85)  # golden ratio less 1, and root of 3 less 1, times 2^32
_ROUNDS = 10

Words = NDArray[np.uint32]


def _product(multiplier: int, word: Words) -> tuple[Words, Words]:
    """Return the high and the low half of a product of 32-bit words."""
    wide = np.multiply(word, multiplier, dtype=np.uint64)
    return (wide >> np.uint64(32)).astype(np.uint32), wide.astype(np.uint32)


def philox(counter: Words, key: Words) -> Words:
    """Return the words of counters under keys, (4, lane), from (4, lane) and (2, lane)."""
    left = [counter[0], counter[2]]
    right = [counter[1], counter[3]]
    for turn in range(_ROUNDS):
        round_key = [key[half] + np.uint32(turn * _WEYL[half] % 2**32) for half in range(2)]
        high, low = zip(*map(_product, _MULTIPLIERS, left), strict=True)
        left = [high[1] ^ right[0] ^ round_key[0], high[0] ^ right[1] ^ round_key[1]]
        right = [low[1], low[0]]
    return np.stack([left[0], right[0], left[1], right[1]])


def counter_noise(seed: NDArray[np.uint64], step: int, channel: str) -> NDArray[np.float64]:
    """Return a channel's noise of one step for the lanes' seeds."""
    counter = np.zeros((4, seed.size), dtype=np.uint32)
    counter[0] = step
    key = np.stack([seed.astype(np.uint32), (seed >> np.uint64(32)).astype(np.uint32)])
    return normed(philox(counter, key)[CHANNELS.index(channel)])


def normed(word: Words) -> NDArray[np.float64]:
    """Return the sum of each word's four bytes, centred and scaled to unit variance."""
    total = sum((word >> np.uint32(shift)) & np.uint32(0xFF) for shift in (0, 8, 16, 24))
    # A byte is uniform over 0 ... 255: mean 127.5, variance (256^2 - 1) / 12.
    centred = np.asarray(total, dtype=np.float64) - 4 * 127.5
    return centred / np.sqrt(4 * (256.0**2 - 1.0) / 12.0)
