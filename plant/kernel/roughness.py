"""Random roughness of a road, of the form that ISO 8608 gives.

The inverse FFT is numpy's: releases 2.1 to 2.5 give the same bits. That of scipy has other last
bits from 1.18 on; both are as exact, but a road must stay the same.
"""

import math

import numpy as np

from plant.arrays import Floats

_N0 = 0.1  # cycles/m, ISO 8608
_BAND = (0.05, 10.0)  # cycles/m: hills are the grade's business, texture the tyre's
_N_PHASES = 4096  # each frequency has one of them; each is worked out once
_PHASORS = np.array(
    [
        complex(math.cos(angle), math.sin(angle))
        for angle in (2.0 * math.pi * turn / _N_PHASES for turn in range(_N_PHASES))
    ]
)


def roughness_shape(n_points: int, step_m: float, seed: int) -> Floats:
    """Return a random profile of ISO 8608 form for Gd(n0) = 1 m3, in m.

    Parameters
    ----------
    n_points : int
    step_m : float
        Spacing of the points.
    seed : int

    Returns
    -------
    (point,) float64
        A stationary profile whose one-sided displacement PSD is (n/n0)^-2 between 0.05 and 10
        cycles/m; scale by the square root of a surface's Gd(n0).

    Notes
    -----
    Random phases with amplitude sqrt(2 Gd(n) dn) at every multiple of the frequency resolution,
    summed by an inverse FFT. The profile repeats itself after its end and the longest wave, so
    that its end knows nothing of its beginning.
    """
    low, high = _BAND
    n_long = smooth_length(n_points + math.ceil(1.0 / (low * step_m)))
    per_wave_m = 1.0 / (n_long * step_m)
    waves = np.arange(math.ceil(low / per_wave_m), math.floor(high / per_wave_m) + 1)
    amplitude = math.sqrt(2.0 / per_wave_m) * _N0 / waves
    phases = np.random.default_rng(seed).integers(_N_PHASES, size=waves.size, dtype=np.uint16)
    spectrum = np.zeros(n_long // 2 + 1, dtype=np.complex128)
    spectrum[waves] = _PHASORS[phases] * (0.5 * amplitude)
    profile: Floats = np.fft.irfft(spectrum, n_long, norm="forward")[:n_points]
    return profile


def smooth_length(n_points: int) -> int:
    """Return the least length from so many points on, above zero, that has no prime factor above 5.

    Some other lengths take an FFT twenty times as long. A length decides a road, so it must not be
    what a release of a library holds for fast.
    """
    best = 1 << (n_points - 1).bit_length()
    five = 1
    while five < best:
        product = five
        while product < best:
            # The least power of two that lifts the product to the length.
            best = min(best, product << (-(-n_points // product) - 1).bit_length())
            product *= 3
        five *= 5
    return best
