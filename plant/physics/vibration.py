"""Whole-body vibration: the Wk frequency weighting of ISO 2631-1 as a digital filter.

Four second-order sections at the controller's rate: high-pass, low-pass, acceleration-velocity
transition, upward step. Frequencies and quality factors are those of ISO 2631-1:1997, table A.1.
"""

import cmath
import math
from typing import TypeAlias

from plant.constants import DT_S

SAMPLE_RATE_HZ = 1.0 / DT_S
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


def _digital(section: Section) -> tuple[float, float, float, float, float]:
    """Return b0, b1, b2, a1, a2 of a section matched to its analogue one.

    Poles map by z = exp(s T). The numerator makes the gain exact at three frequencies: with
    x = sin^2(w / 2), |b0 + b1 z + b2 z^2|^2 is a quadratic in x, and b follows from its values
    B0 at 0 and B1 at half the rate and its curvature B2 (Vicanek 2016, Matched second order
    digital filters). The four sections together stay within 0.01 % of the analogue Wk from 0.4
    to 100 Hz.
    """
    _, leak, stiffness = section[1]
    decay = math.exp(-0.5 * leak * DT_S)
    turn = math.sqrt(stiffness - 0.25 * leak * leak) * DT_S  # every pole of Wk has a partner
    a1, a2 = -2.0 * decay * math.cos(turn), decay * decay
    (_, at_rest), (x_1, gain_1), (x_2, gain_2) = (
        _wanted(section, a1, a2, 2.0 * math.pi * frequency) for frequency in _MATCHED_HZ
    )
    # B = B0 (1 - x) + B1 x + 4 B2 x (1 - x): at rest B0, and from two more points B1 and B2.
    rest_1 = (gain_1 - at_rest * (1.0 - x_1)) / x_1
    rest_2 = (gain_2 - at_rest * (1.0 - x_2)) / x_2
    curve = (rest_1 - rest_2) / (4.0 * (x_2 - x_1))
    at_half = rest_1 - 4.0 * curve * (1.0 - x_1)
    low, high = math.sqrt(max(at_rest, 0.0)), math.sqrt(max(at_half, 0.0))
    mean = 0.5 * (low + high)
    b0 = 0.5 * (mean + math.sqrt(max(mean * mean + curve, 0.0)))
    b1, b2 = 0.5 * (low - high), -0.25 * curve / b0
    return (b0, b1, b2, a1, a2)


def _wanted(section: Section, a1: float, a2: float, omega: float) -> tuple[float, float]:
    """Return x and |b0 + b1 z + b2 z^2|^2 at a frequency in rad/s, for the analogue gain there.

    Python's complex numbers, and no library of linear algebra: what that finds hangs in its last
    bits on the processor.
    """
    s, z = complex(0.0, omega), cmath.exp(complex(0.0, omega * DT_S))
    over, under = ((first * s + second) * s + third for first, second, third in section)
    gain = over / under * ((z + a1) * z + a2)
    half = math.sin(0.5 * omega * DT_S)
    return half * half, gain.real * gain.real + gain.imag * gain.imag


_MATCHED_HZ = (0.0, 20.0, 100.0)  # rest, the middle and the end of where Wk weighs
WK_SECTIONS = tuple(_digital(section) for section in analog_sections())
