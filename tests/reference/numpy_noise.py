"""Counter noise over a batch of lanes, in 64-bit integers cut back to 32."""

import numpy as np
from numpy.typing import NDArray

CHANNELS = {"gyro": 1, "yaw_gyro": 2, "sway": 3, "accelerometer": 4}
_WORD = np.uint64(0xFFFFFFFF)


def hashed(seed: NDArray[np.float64], step: int, channel: int) -> NDArray[np.uint64]:
    """Return the 32-bit hash of (seed, step, channel) for each lane."""
    start = (step * 0x9E3779B9) & 0xFFFFFFFF
    tag = (channel * 0x85EBCA6B) & 0xFFFFFFFF
    word = (seed.astype(np.uint64) + np.uint64(start)) & _WORD
    word ^= np.uint64(tag)
    word = ((word ^ (word >> np.uint64(16))) * np.uint64(0x7FEB352D)) & _WORD
    word = ((word ^ (word >> np.uint64(15))) * np.uint64(0x846CA68B)) & _WORD
    return word ^ (word >> np.uint64(16))


def counter_noise(seed: NDArray[np.float64], step: int, channel: str) -> NDArray[np.float64]:
    """Return the sum of the hash's four bytes, centred and scaled to unit variance."""
    word = hashed(seed, step, CHANNELS[channel])
    total = sum((word >> np.uint64(shift)) & np.uint64(0xFF) for shift in (0, 8, 16, 24))
    # A byte is uniform over 0 ... 255: mean 127.5, variance (256^2 - 1) / 12.
    centred = np.asarray(total, dtype=np.float64) - 4 * 127.5
    return centred / np.sqrt(4 * (256.0**2 - 1.0) / 12.0)
