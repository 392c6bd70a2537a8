"""Whole-body vibration: the Wk frequency weighting of ISO 2631-1 as a digital filter.

Four second-order sections at the controller's rate: high-pass, low-pass, acceleration-velocity
transition, upward step. Frequencies and quality factors are those of ISO 2631-1:1997, table A.1.
"""

import math
from typing import TypeAlias

from scipy.signal import bilinear

SAMPLE_RATE_HZ = 1000.0
_Q_BUTTERWORTH = 1.0 / math.sqrt(2.0)

# (numerator, denominator) in falling powers of s for each section.
Section: TypeAlias = tuple[tuple[float, float, float], tuple[float, float, float]]


def _denominator(frequency_hz: float, quality: float) -> tuple[float, float, float]:
    omega = 2.0 * math.pi * frequency_hz
    return (1.0, omega / quality, omega**2)


def analog_sections() -> tuple[Section, ...]:
    """Return Wk's four sections as numerators and denominators in s."""
    low, high, transition, step_1, step_2 = 0.4, 100.0, 12.5, 2.37, 3.35
    w_high, w_t = 2.0 * math.pi * high, 2.0 * math.pi * transition
    return (
        ((1.0, 0.0, 0.0), _denominator(low, _Q_BUTTERWORTH)),
        ((0.0, 0.0, w_high**2), _denominator(high, _Q_BUTTERWORTH)),
        ((0.0, w_t, w_t**2), _denominator(transition, 0.63)),
        (_denominator(step_1, 0.91), _denominator(step_2, 0.91)),
    )


def _digital(section: Section, match_hz: float) -> tuple[float, float, float, float, float]:
    """Return b0, b1, b2, a1, a2 by the bilinear transform, exact at `match_hz`."""
    omega = 2.0 * math.pi * match_hz
    rate = 0.5 * omega / math.tan(0.5 * omega / SAMPLE_RATE_HZ)
    b, a = bilinear(section[0], section[1], fs=rate)
    b = [0.0] * (3 - len(b)) + list(b)
    return (float(b[0]), float(b[1]), float(b[2]), float(a[1]), float(a[2]))


# Each section is matched where it does its work, so that warping stays small in 0.5 to 80 Hz.
WK_SECTIONS = tuple(
    _digital(section, match_hz)
    for section, match_hz in zip(analog_sections(), (1.0, 90.0, 60.0, 3.0), strict=True)
)
