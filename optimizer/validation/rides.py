"""The rides of a validation: held-out courses, riders in between, tolerances, faults, the day."""

import dataclasses
import itertools
from collections.abc import Mapping
from typing import TypeVar

import numpy as np

from optimizer.base.hashing import spawned
from optimizer.study.balance_variants import in_variants, variant_on
from optimizer.study.seeded_ride import seeded_ride
from optimizer.study.study import Study
from optimizer.study.tolerance_draws import drawn_boards, drawn_rides
from optimizer.study.tolerances import Shape, Tolerance, moved, number_of, with_numbers
from optimizer.study.validation_settings import Fault
from plant.description.board import Board
from plant.description.course import Course
from plant.description.quantity import declared_numbers
from plant.description.rider import Rider
from plant.kernel.simulate import Ride

_Whole = TypeVar("_Whole", Board, Rider)

DRAWN_FOR = "validation"
_BEYOND = 0.08  # lightest and heaviest rider go beyond the study's by this share of the mass
_ALONE = 0.15  # around a single rider of a study


def _between(light: Rider, heavy: Rider, share: float) -> Rider:
    """Return the rider a share of the way from one to another, number by number."""
    numbers = {}
    for name, (section, _) in declared_numbers(Rider).items():
        low, high = (getattr(getattr(rider, section), name) for rider in (light, heavy))
        numbers[name] = low + share * (high - low)
    return with_numbers(light, numbers)


def _of_mass(rider: Rider, factor: float) -> Rider:
    mass = Tolerance(
        name="mass_kg", percent=100.0 * abs(factor - 1.0), plus_minus=0.0, shape=Shape.UNIFORM
    )
    return moved(rider, [mass], np.array([np.sign(factor - 1.0)]))


def unseen_riders(riders: Mapping[str, Rider]) -> dict[str, Rider]:
    """Return riders half-way between those of a study and beyond its ends, by name.

    A name says what the rider is made of. It holds spaces, as no name of a study's rider can, so
    none stands for two riders.

    Parameters
    ----------
    riders : mapping of name to Rider
    """
    named: dict[Rider, str] = {}
    for name, rider in riders.items():
        named.setdefault(rider, name)
    ordered = sorted(named, key=lambda rider: rider.body.mass_kg)
    reach = _ALONE if len(ordered) == 1 else _BEYOND
    lightest, heaviest = ordered[0], ordered[-1]
    found = {f"lighter than {named[lightest]}": _of_mass(lightest, 1.0 - reach)}
    for light, heavy in itertools.pairwise(ordered):
        found[f"between {named[light]} and {named[heavy]}"] = _between(light, heavy, 0.5)
    found[f"heavier than {named[heaviest]}"] = _of_mass(heaviest, 1.0 + reach)
    return found


def held_out_rides(study: Study) -> list[Ride]:
    """Return every unseen rider over the held-out courses and the study's own with other roads.

    One of each rider's variants rides a course.
    """
    own = [
        dataclasses.replace(
            course, road_seed=spawned(study.seed, "validation", "road", course.name)
        )
        for course in study.courses.values()
    ]
    unseen = unseen_riders(study.riders)
    riders = {
        name: in_variants(rider, study.balance_variants)
        for name, rider in {**study.riders, **unseen}.items()
    }
    pairs = [(course, name) for course in study.validation.held_out for name in riders]
    pairs += [
        (course, name) for course in own for name in unseen if _is_for(study, course, unseen[name])
    ]
    return [
        _ride(
            study,
            course,
            name,
            rider=variant_on(course.name, name, riders[name]),
            board=study.board,
        )
        for course, name in pairs
    ]


def _is_for(study: Study, course: Course, rider: Rider) -> bool:
    """Return whether a rider is about as heavy as the riders of a course in the study."""
    masses = [ride.rider.body.mass_kg for ride in study.rides if ride.course.name == course.name]
    reach = 1.0 + max(_BEYOND, _ALONE if len(study.riders) == 1 else 0.0) + 1e-9
    return min(masses) / reach <= rider.body.mass_kg <= max(masses) * reach


def tolerance_draws(study: Study) -> list[tuple[Board, dict[str, tuple[Rider, ...]]]]:
    """Return board, and each rider in all variants, of every draw of the tolerances."""
    return drawn_boards(study, study.validation.n_draws, DRAWN_FOR)


def tolerance_rides(study: Study) -> list[Ride]:
    """Return the study's rides with every draw of board and rider, draw by draw."""
    return drawn_rides(study, study.validation.n_draws, DRAWN_FOR)


def fault_rides(study: Study) -> list[tuple[Fault, list[Ride]]]:
    """Return the rides of every rider with every fault."""
    return [
        (
            fault,
            [
                _ride(
                    study,
                    fault.course,
                    name,
                    rider=_with_fault(rider, fault),
                    board=_with_fault(study.board, fault),
                )
                for name, rider in study.riders.items()
            ],
        )
        for fault in study.validation.faults
    ]


def _with_fault(whole: _Whole, fault: Fault) -> _Whole:
    numbers = {}
    for name, (instead, more, factor) in fault.changes.items():
        own = number_of(whole, name)
        if own is not None:
            numbers[name] = (own if instead is None else instead) * factor + more
    return with_numbers(whole, numbers)


def _ride(study: Study, course: Course, rider_name: str, *, rider: Rider, board: Board) -> Ride:
    return seeded_ride(course, rider_name, rider, board=board, seed=study.seed, drawn_for=DRAWN_FOR)
