"""What is ridden: a road with its surface, and a manoeuvre asked of the rider on it."""

import dataclasses
import enum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.constants import AMBIENT_C
from plant.description.quantity import check_quantities, quantity

Points: TypeAlias = tuple[tuple[float, float], ...]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """What the wheel rolls on; roughness is Gd(n0 = 0.1 cycles/m) of ISO 8608."""

    rolling_ratio: float = quantity("rolling resistance over wheel load", 0.0, 0.5)
    friction_ratio: float = quantity("friction coefficient", 0.02, 1.5)
    roughness_1e6_m3: float = quantity("displacement PSD at 0.1 cycles/m, in 1e-6 m3", 0.0, 2e5)

    def __post_init__(self) -> None:
        check_quantities(self)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """A surface from a distance onwards."""

    from_m: float
    surface: Surface


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Elevation:
    """Measured heights along a route; two routes are equal when they are the same object.

    Attributes
    ----------
    distance_m, height_m : (point,) float64
        Distance along the route, rising, from zero; height above any datum.
    """

    distance_m: NDArray[np.float64]
    height_m: NDArray[np.float64]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Road:
    """Surface, grade and steps along the distance.

    Attributes
    ----------
    patches : tuple of Patch
        At least one, the first from 0 m, in order of distance.
    grade_percent : tuple of (distance m, grade %)
        Grade from that distance onwards, positive uphill.
    grade_blend_m : float
        Length over which each change of grade is blended, as a ramp's foot is.
    kerbs : tuple of (distance m, height m)
        Steps, positive up.
    elevation : Elevation or None
        A measured route, whose grade adds to `grade_percent`.
    """

    patches: tuple[Patch, ...]
    grade_percent: Points = ((0.0, 0.0),)
    grade_blend_m: float = 1.0
    kerbs: Points = ()
    elevation: Elevation | None = None


class Start(enum.StrEnum):
    """How a ride begins."""

    ROLLING = "rolling"  # level, at the first wanted speed
    STANDING = "standing"  # level, engaged, at rest
    TAIL_DOWN = "tail_down"  # tail on the ground, motor off, one foot on the ground


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Manoeuvre:
    """What the rider wants, over time or distance; points are joined by straight lines.

    Attributes
    ----------
    duration_s : float
    start : Start
    speed_mps : tuple of (time s, wanted speed m/s)
    turn_deg_per_s : tuple of (time s, wanted yaw rate deg/s), positive to the left
    headwind_mps : tuple of (time s, wind against the ride m/s)
    press_ratio : tuple of (distance m, share of the rider's largest foot moment), positive
        presses the tail, negative the nose
    ask_ratio : float
        How hard the rider asks: 1 is the limit of the rider's skill.
    hold_s, count_s : tuple of (from s, to s)
        Windows in which level-holding error, and peak current, are counted.
    rise_at_s : float
        For a tail-down start: when the rider begins to bring the board level.
    charge_ratio, mosfet_c : float or None
        State of charge and MOSFET temperature at the start, where not the board's own.
    """

    duration_s: float
    start: Start = Start.ROLLING
    speed_mps: Points
    turn_deg_per_s: Points = ((0.0, 0.0),)
    headwind_mps: Points = ((0.0, 0.0),)
    press_ratio: Points = ((0.0, 0.0),)
    ask_ratio: float = 1.0
    hold_s: Points = ()
    count_s: Points = ()
    rise_at_s: float = 0.5
    charge_ratio: float | None = None
    mosfet_c: float | None = None

    @property
    def first_mosfet_c(self) -> float:
        """MOSFET temperature at the start, that of the air where none is given."""
        return AMBIENT_C if self.mosfet_c is None else self.mosfet_c


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Part of a manoeuvre that is ridden alone, rolling from its start.

    Attributes
    ----------
    from_s, to_s : float
        When it begins and ends in the manoeuvre.
    from_m : float
        Where on the road it begins; distances ridden are counted from there.
    speed_mps : float
        Speed at its start.
    """

    from_s: float
    to_s: float
    from_m: float
    speed_mps: float


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A road and a manoeuvre on it, with the seed of the road's roughness.

    With a `part`, only that part of the manoeuvre is ridden, on the same road.
    """

    name: str
    title: str
    road: Road
    manoeuvre: Manoeuvre
    road_seed: int
    part: Part | None = None

    @property
    def duration_s(self) -> float:
        """How long a ride lasts that does not end early."""
        if self.part is None:
            return self.manoeuvre.duration_s
        return self.part.to_s - self.part.from_s
