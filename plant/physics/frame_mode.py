"""The frame between motor and IMU: one lightly damped mode that the torque excites."""

from plant.compile import scalar


@scalar
def flexed(
    flex: float,
    flex_rate: float,
    torque: float,
    per_inertia: float,
    omega: float,
    damping_ratio: float,
    h: float,
) -> tuple[float, float]:
    """Return angle and rate of the mode after `h` s, in rad and rad/s.

    `omega` is its angular frequency in rad/s, `per_inertia` one over the frame's inertia.
    """
    rate = (
        flex_rate
        + (-torque * per_inertia - omega * (2.0 * damping_ratio * flex_rate + omega * flex)) * h
    )
    return flex + rate * h, rate
