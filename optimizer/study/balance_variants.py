"""Riders of one mass and skill who balance each in their own way, as factors on their numbers.

People of whom the same numbers are identified still differ, and which profile is best depends on
it. So one ride of a study is by the rider as described, another by a variant of the same rider.
"""

from collections.abc import Mapping
from typing import TypeAlias

from optimizer.base.hashing import spawned
from optimizer.study.tolerances import number_of, with_numbers
from plant.description.rider import Rider

Variants: TypeAlias = Mapping[str, Mapping[str, float]]  # ratios of a rider's numbers, by name


def in_variants(rider: Rider, variants: Variants) -> tuple[Rider, ...]:
    """Return a rider as described, and then in every variant.

    Parameters
    ----------
    rider : Rider
    variants : mapping of name to ratios
        A number stays inside what it can be at all.
    """
    return (rider, *(_varied(rider, ratios) for ratios in variants.values()))


def variant_on(
    course_name: str, rider_name: str, riders: tuple[Rider, ...], *, turn: int = 0
) -> Rider:
    """Return the variant that rides a course.

    It depends on the names of course and rider alone: what else is in a study does not change it.

    Parameters
    ----------
    course_name, rider_name : str
    riders : tuple of Rider
        From `in_variants`.
    turn : int
        In the next turn the next variant rides.
    """
    return riders[(spawned(0, "balance variant", course_name, rider_name) + turn) % len(riders)]


def _varied(rider: Rider, ratios: Mapping[str, float]) -> Rider:
    own = {name: number_of(rider, name) for name in ratios}
    numbers = {name: ratios[name] * value for name, value in own.items() if value is not None}
    return with_numbers(rider, numbers)
