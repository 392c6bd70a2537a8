"""A ride of a study, with noise of its own."""

from optimizer.base.hashing import spawned
from plant.description.board import Board
from plant.description.course import Course
from plant.description.rider import Rider
from plant.kernel.simulate import Ride, ride_name


def seeded_ride(
    course: Course, rider_name: str, rider: Rider, *, board: Board, seed: int, drawn_for: str = ""
) -> Ride:
    """Return a rider's ride over a course, its noise seeded by the study's seed and its name.

    Rides that are drawn for something else, by its name, have other noise.
    """
    purpose = (drawn_for, "noise") if drawn_for else ("noise",)
    return Ride(
        course=course,
        rider_name=rider_name,
        rider=rider,
        board=board,
        noise_seed=spawned(seed, *purpose, ride_name(course, rider_name)),
    )
