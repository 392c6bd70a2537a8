"""Settings of the validation of a selected profile: data only."""

import dataclasses

from plant.description.course import Course


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
    """Everything that only a validation rides.

    Attributes
    ----------
    n_draws : int
        Draws of the tolerances.
    hours : float
        Hours of the riding day.
    nose_downs_per_1000_km : float
        As many pass, with 95 % confidence.
    held_out : tuple of Course
    faults : tuple of Fault
    """

    n_draws: int
    hours: float
    nose_downs_per_1000_km: float
    held_out: tuple[Course, ...]
    faults: tuple[Fault, ...]
