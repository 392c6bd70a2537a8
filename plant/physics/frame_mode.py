"""The frame between motor and IMU: one lightly damped mode that the torque excites.

The mode is delta'' + 2 zeta w delta' + w^2 delta = -torque / I. While the torque holds, it swings
freely about the twist that the torque keeps, -torque / (I w^2): that is exact for steps of any
length.
"""

import math

from plant.compile import scalar


def mode_changes(
    frequency_hz: float, damping_ratio: float, dt_s: float
) -> tuple[float, float, float, float]:
    """Return the change of angle and rate in a free swing of `dt_s`, by angle and by rate.

    The transition matrix of a damped oscillator less the unit matrix: change of the angle by
    angle and by rate, then of the rate by angle and by rate. From any textbook on vibration, such
    as Rao, "Mechanical Vibrations", section 2.6.

    Parameters
    ----------
    frequency_hz : float
        Undamped.
    damping_ratio : float
        From 0 to 1; at 1, the limit of the formula.
    dt_s : float
    """
    omega = 2.0 * math.pi * frequency_hz
    decay = damping_ratio * omega
    swing = math.sqrt(max(1.0 - damping_ratio**2, 0.0)) * omega
    fading = math.exp(-decay * dt_s)
    turned = swing * dt_s
    by_rate = fading * (math.sin(turned) / swing if turned > 1e-6 else dt_s)
    cosine = fading * math.cos(turned)
    return (
        cosine + decay * by_rate - 1.0,
        by_rate,
        -omega * omega * by_rate,
        cosine - decay * by_rate - 1.0,
    )


@scalar
def flexed(
    flex: float,
    flex_rate: float,
    torque: float,
    twist_per_torque: float,
    angle_by_angle: float,
    angle_by_rate: float,
    rate_by_angle: float,
    rate_by_rate: float,
) -> tuple[float, float]:
    """Return the change of the mode's angle in rad and rate in rad/s while a torque holds.

    `twist_per_torque` is what a steady torque twists, in rad per N m; the other four are from
    `mode_changes`.
    """
    swung = flex + torque * twist_per_torque
    return (
        angle_by_angle * swung + angle_by_rate * flex_rate,
        rate_by_angle * swung + rate_by_rate * flex_rate,
    )
