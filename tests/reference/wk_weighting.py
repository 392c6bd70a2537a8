"""The Wk weighting of ISO 2631-1 for vertical vibration, from its published constants.

The transfer function is that of ISO 2631-1:1997, annex A, with the constants of its table A.1 for
Wk. The digital filter is its bilinear transform, by scipy; the plant matches poles and gains
instead.
"""

import math

import numpy as np
from scipy.signal import bilinear

from plant.arrays import Floats
from tests.reference.constants import DT_S

Section = tuple[tuple[float, ...], tuple[float, ...]]

# ISO 2631-1:1997, table A.1, Wk: corner frequencies in Hz, and quality factors.
F1_HZ, F2_HZ, F3_HZ, F4_HZ, F5_HZ, F6_HZ = 0.4, 100.0, 12.5, 12.5, 2.37, 3.35
Q4, Q5, Q6 = 0.63, 0.91, 0.91
Q1 = Q2 = 1.0 / math.sqrt(2.0)  # of both limits of the band: Butterworth's


def analogue_sections(*, high_hz: float = F2_HZ) -> tuple[Section, ...]:
    """Return numerators and denominators in falling powers of s.

    In the standard's order: high-pass, low-pass, acceleration-velocity transition, upward step.

    Parameters
    ----------
    high_hz : float
        Corner of the low-pass.
    """
    w1, w2, w3, w4, w5, w6 = (
        2.0 * math.pi * f for f in (F1_HZ, high_hz, F3_HZ, F4_HZ, F5_HZ, F6_HZ)
    )
    return (
        ((1.0, 0.0, 0.0), (1.0, w1 / Q1, w1**2)),
        ((w2**2,), (1.0, w2 / Q2, w2**2)),
        ((w4**2 / w3, w4**2), (1.0, w4 / Q4, w4**2)),
        ((1.0, w5 / Q5, w5**2), (1.0, w6 / Q6, w6**2)),
    )


def digital_sections() -> Floats:
    """Return b0, b1, b2, 1, a1, a2 of each section, (section, 6), at the plant's rate.

    The bilinear transform bends frequencies: the corner of the low-pass is moved so that it comes
    out where it belongs, the other corners are too low to move. The gain is within 1 % of the
    analogue one up to 50 Hz, and 4 % below it at 100 Hz, where Wk has fallen to 0.09.
    """
    bent_hz = math.tan(math.pi * F2_HZ * DT_S) / (math.pi * DT_S)
    sections = analogue_sections(high_hz=bent_hz)
    return np.array([np.concatenate(bilinear(b, a, fs=1.0 / DT_S)) for b, a in sections])
