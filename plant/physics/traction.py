"""The wheel on the ground: rolling without slip while friction can hold what is asked."""

from plant.compile import scalar
from plant.physics.scalar_math import magnitude

_STICKING_MPS = 1e-9  # a slower slip is none


@scalar
def ground_force(
    drive_force: float, rim_mass: float, acceleration: float, friction: float, slip: float
) -> tuple[float, float, bool]:
    """Return the force in N at the contact, the one while sliding, and whether the wheel holds.

    What is asked of the ground is the drive's force less what spins the wheel up; `rim_mass` is
    its inertia over the radius squared, in kg, `friction` the largest force of the contact in N.
    """
    asked = drive_force - rim_mass * acceleration
    holds = magnitude(slip) < _STICKING_MPS and magnitude(asked) <= friction
    side = slip if magnitude(slip) >= _STICKING_MPS else asked
    sliding = friction if side > 0.0 else -friction
    return (asked if holds else sliding), sliding, holds


@scalar
def slipped(
    slip: float,
    holds: bool,
    spare_force: float,
    per_rim_mass: float,
    acceleration: float,
    h: float,
) -> float:
    """Return the slip in m/s after `h` s; it ends when it would change sign.

    `spare_force` is the drive's force less the ground's while sliding, in N.
    """
    spun = slip + (spare_force * per_rim_mass - acceleration) * h
    return 0.0 if (holds or (slip != 0.0 and spun * slip <= 0.0)) else spun
