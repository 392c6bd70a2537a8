"""What a chosen profile is ridden on before anybody rides it: data only."""

import dataclasses

from optimizer.riding_day import RidingDay
from optimizer.tolerances import Tolerance
from plant.course import Course


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """Something that goes wrong on a ride.

    Attributes
    ----------
    name, title : str
    course : Course
    changes : mapping of a number's name to (set or None, add, scale)
        On board or rider: set, then scale, then add.
    warned_s : float or None
        A ride that ends passes where it warned for so long; None: it must not end.
    """

    name: str
    title: str
    course: Course
    changes: dict[str, tuple[float | None, float, float]]
    warned_s: float | None


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Validation:
    """Everything that a validation rides besides the study's own rides.

    Attributes
    ----------
    n_draws : int
        Draws of the tolerances.
    hours : float
        Hours of the riding day.
    nose_downs_per_100_h : float
        As many pass, with 95 % confidence.
    tolerances : tuple of Tolerance
    held_out : tuple of Course
    faults : tuple of Fault
    day : RidingDay
    """

    n_draws: int
    hours: float
    nose_downs_per_100_h: float
    tolerances: tuple[Tolerance, ...]
    held_out: tuple[Course, ...]
    faults: tuple[Fault, ...]
    day: RidingDay
