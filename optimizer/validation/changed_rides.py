"""Rides with one thing changed: other noise, another board number, or a slower way."""

import dataclasses
import enum
from collections.abc import Callable, Mapping

from optimizer.base.hashing import spawned
from optimizer.study.study import Study
from optimizer.study.tolerances import with_numbers
from plant.description.board import Board
from plant.kernel.simulate import Ride

SLOWER = "a fifth slower over kerbs and over rough or slippery ground"
_SLOWER_RATIO = 0.8


class Kind(enum.StrEnum):
    """What a change is made to."""

    CHANCE = "chance"
    PROFILE = "profile"
    BOARD = "board"
    RIDING = "riding"


def slower(study: Study) -> Study:
    """Return a study whose riders slow down more where the road asks for care.

    A day drawn from it has the same roads, riders, boards and noise. Its riders reach what comes
    after such a place later.
    """
    day = study.riding_day
    careful = dataclasses.replace(
        day,
        fastest_mps={surface: _SLOWER_RATIO * mps for surface, mps in day.fastest_mps.items()},
        kerb_mps=_SLOWER_RATIO * day.kerb_mps,
    )
    return dataclasses.replace(study, riding_day=careful)


def _other_noise(ride: Ride) -> Ride:
    seed = spawned(ride.noise_seed, "other noise")
    return dataclasses.replace(ride, noise_seed=seed)


def _on_board(numbers: Callable[[Board], Mapping[str, float]]) -> Callable[[Ride], Ride]:
    """Return the change of a ride that gives its board other numbers."""

    def change(ride: Ride) -> Ride:
        return dataclasses.replace(ride, board=with_numbers(ride.board, numbers(ride.board)))

    return change


def _more_current(board: Board) -> dict[str, float]:
    return {"phase_current_limit_a": 1.15 * board.drive.phase_current_limit_a}


def _one_cell_more(board: Board) -> dict[str, float]:
    """Return the pack with a cell more; its resistance and the drive's voltages in proportion."""
    pack = board.battery
    ratio = (pack.cells_in_series + 1.0) / pack.cells_in_series
    return {
        "cells_in_series": pack.cells_in_series + 1.0,
        "series_resistance_ohm": ratio * pack.series_resistance_ohm,
        "rc_resistance_ohm": ratio * pack.rc_resistance_ohm,
        "bus_low_v": ratio * pack.bus_low_v,
        "bus_high_v": ratio * pack.bus_high_v,
        "regen_taper_v": ratio * board.drive.regen_taper_v,
    }


def _higher_nose(board: Board) -> dict[str, float]:
    return {"nose_contact_deg": board.frame.nose_contact_deg + 2.0}


def _softer_tyre(board: Board) -> dict[str, float]:
    return {"tyre_stiffness_n_per_m": 0.8 * board.wheel.tyre_stiffness_n_per_m}


CHANGES: tuple[tuple[Kind, str, Callable[[Ride], Ride]], ...] = (
    (Kind.BOARD, "phase_current_limit_a 15 % higher", _on_board(_more_current)),
    (Kind.BOARD, "cells_in_series one more", _on_board(_one_cell_more)),
    (Kind.BOARD, "nose_contact_deg 2 deg more", _on_board(_higher_nose)),
    (Kind.BOARD, "tyre_stiffness_n_per_m 20 % lower", _on_board(_softer_tyre)),
    # What any change does: some rides end otherwise whatever is changed.
    (Kind.CHANCE, "other noise and nothing else", _other_noise),
)
