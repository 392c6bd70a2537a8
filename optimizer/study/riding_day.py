"""What a mixed riding day is drawn from: data, and what loads nothing to read files with."""

import dataclasses
from collections.abc import Mapping

from plant.description.course import Elevation, Points, Surface
from plant.description.quantity import quantity

ROUTE_STEP_M = 5.0  # spacing of the heights kept, well below the length of their averaging


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RidingDay:
    """What rides are drawn from.

    Attributes
    ----------
    surfaces : mapping of Surface to float
        How much of the way leads over each; only the proportions matter.
    fastest_mps : mapping of Surface to float
        Fastest wanted speed over each; `fast_mps` over those that are not among them.
    routes : tuple of Elevation
        Recorded ways, smoothed, whose parts give the rides their grades; none if grades are drawn.
    logged_mps : tuple of points (time s, speed m/s)
        Stretches of a ride log that give the rides their wanted speeds; none if speeds are drawn.
        With them, `fast_mps` is the log's fastest.
    """

    ride_s: float = quantity("length of one ride", 10.0, 600.0)
    slow_mps: float = quantity(
        "slowest wanted speed but for walking pace on smooth ground", 0.2, 15.0
    )
    fast_mps: float = quantity("fastest wanted speed", 0.5, 20.0)
    walk_share: float = quantity("share of stretches at walking pace", 0.0, 0.9)
    grade_percent_sd: float = quantity("standard deviation of the grade", 0.0, 15.0)
    steepest_percent: float = quantity("steepest grade", 0.0, 40.0)
    kerbs_per_km: float = quantity("kerbs up and down in a kilometre", 0.0, 200.0)
    kerb_up_m: float = quantity("highest kerb ridden up", 0.0, 0.1)
    kerb_down_m: float = quantity("highest kerb ridden down", 0.0, 0.3)
    kerb_mps: float = quantity("fastest wanted speed over a kerb", 0.3, 20.0)
    flush_m: float = quantity("kerb up to which nobody slows down", 0.0, 0.1)
    turns_per_min: float = quantity("bends in a minute", 0.0, 30.0)
    lateral_mps2: float = quantity("lateral acceleration of the tightest bend", 0.0, 8.0)
    gusts_per_h: float = quantity("gusts against the ride in an hour", 0.0, 1000.0)
    gust_mps: float = quantity("strongest gust", 0.0, 25.0)
    least_charge_ratio: float = quantity("lowest state of charge", 0.02, 1.0)
    warmest_mosfet_c: float = quantity("warmest drive at the start of a ride", 25.0, 150.0)
    easy_ask_ratio: float = quantity("softest asking, of the rider's limit", 0.1, 2.0)
    hard_ask_ratio: float = quantity("hardest asking, of the rider's limit", 0.1, 2.0)
    surfaces: Mapping[Surface, float]
    fastest_mps: Mapping[Surface, float]
    routes: tuple[Elevation, ...] = ()
    logged_mps: tuple[Points, ...] = ()

    @property
    def way_m(self) -> float:
        """Length of the road of a ride, with some to spare for a board that runs ahead."""
        return 1.3 * self.fast_mps * self.ride_s + 30.0


def lasts_s(points: Points) -> float:
    """Return the time from the first of some points to the last; 0 where there is none."""
    return points[-1][0] - points[0][0] if points else 0.0


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoggedDay:
    """What a ride log gives a riding day, from which its rides are drawn.

    Attributes
    ----------
    speeds : tuple of points (time s, speed m/s)
        Of each stretch in which the board rolls.
    heights : Elevation or None
        Along the way of the whole log; None without altitude.
    """

    speeds: tuple[Points, ...]
    heights: Elevation | None
