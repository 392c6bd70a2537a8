"""From a course to the tables that the kernel rides along: the road, and what the rider wants."""

import dataclasses
import functools
import math

import numpy as np
from numpy.typing import NDArray

from plant.constants import DT_S
from plant.description.board import Wheel
from plant.description.course import Course, Part, Points, Start
from plant.kernel.ride_block import SCRIPT_STEPS
from plant.kernel.road import TABLE_STEP_M, road_table, straight_lines

# Assumed: more than the courses and hard rides of a study; the road of a minute takes 1 MB.
ROADS_KEPT = 256
_EASED_M = 2.5  # as long as a whole ride's roughness takes to its full height
_RISE_TIME_S = 0.6  # assumed: a rider brings the board level from tail-down in this time


def script_table(course: Course) -> NDArray[np.float64]:
    """Return what the rider wants every 10 ms, (point, 6), as `lane_layout.SCRIPT_NAMES`."""
    manoeuvre = course.manoeuvre
    n_points = math.ceil(manoeuvre.duration_s / (SCRIPT_STEPS * DT_S)) + 2
    time_s: NDArray[np.float64] = np.arange(n_points, dtype=np.float64) * (SCRIPT_STEPS * DT_S)

    def flag(windows: Points) -> NDArray[np.float64]:
        inside = np.zeros(n_points)
        for start, end in windows:
            inside[slice(*np.searchsorted(time_s, (start, end)))] = 1.0
        return inside

    table = np.empty((n_points, 6))
    table[:, 0] = straight_lines(manoeuvre.speed_mps, time_s)
    table[:, 1] = np.radians(straight_lines(manoeuvre.turn_deg_per_s, time_s))
    table[:, 2] = straight_lines(manoeuvre.headwind_mps, time_s)
    table[:, 3] = 1.0
    if manoeuvre.start is Start.TAIL_DOWN:
        table[:, 3] = np.clip((time_s - manoeuvre.rise_at_s) / _RISE_TIME_S, 0.0, 1.0)
    table[:, 4] = flag(manoeuvre.hold_s)
    table[:, 5] = flag(manoeuvre.count_s)
    return table


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CourseTables:
    """A course as the kernel rides it.

    Attributes
    ----------
    road : (point, 7) float64
        As `plant.kernel.road.road_table` returns it.
    script : (point, 6) float64
        As `script_table` returns it.
    n_steps : int
        Steps of 1 ms.
    """

    road: NDArray[np.float64]
    script: NDArray[np.float64]
    n_steps: int

    @property
    def start_grade_rad(self) -> float:
        """The grade on which the ride begins."""
        return float(self.road[0, 2])


@functools.lru_cache(maxsize=ROADS_KEPT)
def course_tables(course: Course, wheel: Wheel) -> CourseTables:
    """Return a course laid for a wheel, kept for rides to come."""
    if course.part is None:
        return _laid(course, wheel)
    whole = dataclasses.replace(course, name="", title="", part=None)
    return _part(_last_laid(whole, wheel), course.part, n_steps=round(course.duration_s / DT_S))


def _laid(course: Course, wheel: Wheel) -> CourseTables:
    script = script_table(course)
    # A ride that runs faster than wanted stays on the table for a while longer.
    reach_m = 1.25 * float(np.sum(np.abs(script[:, 0]))) * SCRIPT_STEPS * DT_S + 25.0
    road = road_table(
        course.road,
        wheel=wheel,
        length_m=reach_m,
        press_ratio=course.manoeuvre.press_ratio,
        seed=course.road_seed,
    )
    return CourseTables(road=road, script=script, n_steps=round(course.duration_s / DT_S))


# The parts of one course come one after the other.
_last_laid = functools.lru_cache(maxsize=16)(_laid)


def _part(tables: CourseTables, part: Part, *, n_steps: int) -> CourseTables:
    """Return the part of a ride's tables on which it alone is ridden."""
    first = round(part.from_m / TABLE_STEP_M)
    road = tables.road[first:].copy()
    if first:
        _ease_in(road)
    script = tables.script[round(part.from_s / (SCRIPT_STEPS * DT_S)) :].copy()
    return CourseTables(road=road, script=script, n_steps=n_steps)


def _ease_in(road: NDArray[np.float64]) -> None:
    """Let roughness and rolling resistance of a road begin at none, in place.

    A ride begins at rest on its road, with the current that holds it on the grade. In the middle of
    rough, deep ground that would throw a board at once which rides over it when it comes rolling.
    """
    way_m = TABLE_STEP_M * np.arange(len(road))
    share = np.clip(way_m / _EASED_M, 0.0, 1.0)
    height_m = road[:, 0] - road[0, 0]
    road[:, 1] = share * road[:, 1] + np.where(share < 1.0, height_m / _EASED_M, 0.0)
    road[:, 0] = share * height_m
    road[:, 4] *= share
