"""What holds the ride back: rolling, air, turning."""

from plant.compile import scalar
from plant.physics.scalar_math import direction, magnitude

# Width in m/s over which dry resistances turn around with the speed.
_TURNAROUND_MPS = 0.05


@scalar
def rolling_resistance(speed: float, load: float, rolling_ratio: float) -> float:
    """Return rolling resistance against forward motion in N: Crr N, turning with the speed."""
    return load * rolling_ratio * direction(speed, _TURNAROUND_MPS)


@scalar
def air_drag(speed: float, headwind: float, density: float, drag_area: float) -> float:
    """Return air drag against forward motion in N: rho CdA v |v| / 2 of the air's speed."""
    air = speed + headwind
    return 0.5 * density * drag_area * air * magnitude(air)


@scalar
def turn_scrub(speed: float, load: float, lateral_g: float, scrub_ratio: float) -> float:
    """Return the tyre's turning resistance in N, growing with lateral acceleration in g."""
    return load * scrub_ratio * magnitude(lateral_g) * direction(speed, _TURNAROUND_MPS)
