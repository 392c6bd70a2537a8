"""A profile, and the bounds of a search, rescaled by physics from one board to another.

A pitch error that asks for a force at the ground should ask for the same acceleration: currents go
with the mass that is moved, with the wheel's radius and with one over the torque per amp.
"""

import dataclasses
from collections.abc import Mapping

import numpy as np

from plant.arrays import Floats
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.quantity import Kind, Quantity, declared_numbers
from plant.kernel.lane_init import torque_per_amp

# The catalogue's profiles expect the current per acceleration of a rider between 62 and 80 kg
# (studies/catalogue/profiles.toml).
CATALOGUE_RIDER_KG = 71.0
_DIGITS = 3  # of what is scaled, for a person types it

_KINDS = np.array([declared.kind for _, declared in declared_numbers(Profile).values()])
_IS_CAP = _KINDS == Kind.CURRENT
IS_CURRENT = _IS_CAP | (_KINDS == Kind.CURRENT_GAIN)
_IS_BUS_VOLTAGE = _KINDS == Kind.BUS_VOLTAGE


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Scaling:
    """By how much currents grow, and out of what.

    Attributes
    ----------
    current_ratio : float
        New over old current for the same acceleration.
    torque_ratio, radius_ratio, mass_ratio : float
        New over old torque per amp, wheel radius, and moved mass.
    cells_ratio : float
        New over old cells in series: the margin to the bus-voltage limits goes with it.
    """

    current_ratio: float
    torque_ratio: float
    radius_ratio: float
    mass_ratio: float
    cells_ratio: float


def board_scaling(
    old: Board,
    new: Board,
    *,
    old_rider_kg: float = CATALOGUE_RIDER_KG,
    new_rider_kg: float = CATALOGUE_RIDER_KG,
) -> Scaling:
    """Return how a profile of one board is scaled for another, each under a rider of some mass."""
    torque = torque_per_amp(new.motor.kv_rpm_per_v) / torque_per_amp(old.motor.kv_rpm_per_v)
    radius = new.wheel.wheel_radius_m / old.wheel.wheel_radius_m
    mass = _moved_mass(new, new_rider_kg) / _moved_mass(old, old_rider_kg)
    return Scaling(
        current_ratio=mass * radius / torque,
        torque_ratio=torque,
        radius_ratio=radius,
        mass_ratio=mass,
        cells_ratio=new.battery.cells_in_series / old.battery.cells_in_series,
    )


def _moved_mass(board: Board, rider_kg: float) -> float:
    """Return the mass that moves under a rider, wheel's inertia included, in kg."""
    wheel = board.wheel
    spinning = wheel.wheel_inertia_kg_m2 / wheel.wheel_radius_m**2
    return rider_kg + board.frame.frame_mass_kg + wheel.wheel_mass_kg + spinning


def transferred(profile: Floats, by: Scaling, board: Board) -> Floats:
    """Return a profile scaled for another board; caps stay inside its phase current limit.

    What is scaled is rounded to three significant digits, for a person types it.

    Parameters
    ----------
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    by : Scaling
    board : Board
        The new one.
    """
    ratio = np.where(IS_CURRENT, by.current_ratio, np.where(_IS_BUS_VOLTAGE, by.cells_ratio, 1.0))
    moved = [_rounded(value) for value in (profile * ratio).tolist()]
    row = np.where(ratio == 1.0, profile, moved)
    row[_IS_CAP] = np.minimum(row[_IS_CAP], board.drive.phase_current_limit_a)
    return row


def scaled_bounds(
    bounds: Mapping[str, tuple[float, float]], by: Scaling, profile: Mapping[str, float]
) -> dict[str, tuple[float, float]]:
    """Return searched bounds scaled for another board; those of no current stay as they are.

    Parameters
    ----------
    bounds : mapping of str to (low, high)
    by : Scaling
    profile : mapping of str to float
        The baseline; scaled bounds are widened to hold it, since a cap of its drive may hold it
        below them.
    """
    return {
        name: _scaled_ends(declared_numbers(Profile)[name][1], ends, by, profile[name])
        for name, ends in bounds.items()
    }


def _scaled_ends(
    declared: Quantity, ends: tuple[float, float], by: Scaling, held: float
) -> tuple[float, float]:
    """Return bounds of one parameter, scaled if it is a current, that hold a value."""
    if declared.kind not in (Kind.CURRENT, Kind.CURRENT_GAIN) or by.current_ratio == 1.0:
        return ends
    low, high = (_rounded(by.current_ratio * end) for end in ends)
    return max(min(low, held), declared.low), min(max(high, held), declared.high)


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")
