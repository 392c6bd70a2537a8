"""Lines of a first study file for a board and riders of one's own, from what everybody knows.

From Kv, cells, wheel and riders' masses follow, in proportion to the catalogue's board, a drive's
limits and losses, a pack's resistances and cut-outs, a wheel's inertia, and bodies and skills.
Each such line says that it is assumed. The motor's windings, the baseline and the bounds follow
when the file is read.
"""

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np

from optimizer.base.errors import ArgumentError, UserInputError
from optimizer.study.catalogue import BOARD, CATALOGUE_FOLDER, RIDER, entry_names, resolved, shelves
from plant.description.board import Board
from plant.description.quantity import declared_numbers
from plant.description.rider import Rider

MODEL_BOARD = "lender_15"
_HABIT = "steady_"  # skills of it suit riders who ride every day
_DIGITS = 3
# Numbers that a user gives as they are: argument, what it is, by how much it is more, and its unit.
_GIVEN = {
    "kv_rpm_per_v": ("motor_kv", "a Kv", 1.0, " rpm/V"),
    "cells_in_series": ("cells", "a number of cells", 1.0, ""),
    "wheel_radius_m": ("wheel", "a diameter", 2.0, " m"),
    "mass_kg": ("riders", "masses", 1.0, " kg"),
}

Change: TypeAlias = tuple[tuple[str, str], float, str]  # section and name, value, reason


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class OwnBoard:
    """What a user knows of a board and its riders; None or empty where nothing is said.

    Attributes
    ----------
    kv_rpm_per_v : float or None
    cells_in_series : int or None
    wheel_diameter_m : float or None
    rider_masses_kg : sequence of float
    """

    kv_rpm_per_v: float | None = None
    cells_in_series: int | None = None
    wheel_diameter_m: float | None = None
    rider_masses_kg: Sequence[float] = ()


NOTHING_SAID = OwnBoard()


def board_lines(own: OwnBoard) -> list[str]:
    """Return the lines that change the catalogue's board; none where nothing is said of it.

    Raises
    ------
    UserInputError
        A number, or one that follows from it, is outside what a board can have.
    """
    base = resolved(MODEL_BOARD, BOARD, path=CATALOGUE_FOLDER, key="boards")
    lines = []
    for (section, name), value, why in following_numbers(own, base, base_name=MODEL_BOARD):
        _refuse_outside(Board, name, value)
        lines.append(_line(f"{section}.{name} = {value!r}", why))
    return lines


def rider_lines(own: OwnBoard) -> list[str]:
    """Return the lines of the riders, a table each; none where no mass is given.

    Raises
    ------
    UserInputError
        A mass is given twice, or no rider can have it.
    """
    masses = list(own.rider_masses_kg)
    if len(set(masses)) < len(masses):
        raise ArgumentError("riders", "give each mass once; more riders go into study.toml")
    lines = []
    for mass_kg in masses:
        _refuse_outside(Rider, "mass_kg", mass_kg)
        lines += [
            f"[riders.{rider_name(mass_kg)}]",
            _line(f"body = {{ {_body(mass_kg)} }}", "assumed from the mass"),
            _line(f'skill = "{_nearest_skill(mass_kg)}"', "assumed; or first_timer, expert"),
        ]
    return lines


def following_numbers(
    own: OwnBoard, base: Mapping[str, Any], *, base_name: str
) -> Iterator[Change]:
    """Yield section and name, value and reason of each number in which a board differs.

    Parameters
    ----------
    own : OwnBoard
    base : mapping of section to numbers
        The board of the catalogue from which it starts.
    base_name : str
    """
    motor, drive, pack, wheel = (base[part] for part in ("motor", "drive", "battery", "wheel"))
    kv, cells = own.kv_rpm_per_v, own.cells_in_series
    current = radius = 1.0
    if kv is not None:
        current = kv / motor["kv_rpm_per_v"]
        why = "its resistance, inductance and saturation follow, unless you give them"
        yield ("motor", "kv_rpm_per_v"), kv, why
    if own.wheel_diameter_m is not None:
        radius = 0.5 * own.wheel_diameter_m / wheel["wheel_radius_m"]
        yield ("wheel", "wheel_radius_m"), 0.5 * own.wheel_diameter_m, "half the diameter"
        inertia = wheel["wheel_inertia_kg_m2"] * radius**2
        yield ("wheel", "wheel_inertia_kg_m2"), _few(inertia), "assumed: the same mass, further out"
    current *= radius
    if current != 1.0:
        limit = _few(drive["phase_current_limit_a"] * current)
        same = f"the tractive force of {base_name}'s {drive['phase_current_limit_a']:g} A"
        yield ("drive", "phase_current_limit_a"), limit, f"assumed: {same}; enter your drive's"
        cool = "assumed: heat stays alike"
        resistance = drive["mosfet_resistance_ohm"] / current**2
        yield ("drive", "mosfet_resistance_ohm"), _few(resistance), cool
        loss = drive["switching_loss_w_per_a_v"] / current
        yield ("drive", "switching_loss_w_per_a_v"), _few(loss), cool
    if cells is not None:
        ratio, by_cells = cells / pack["cells_in_series"], "assumed: in proportion to the cells"
        yield ("battery", "cells_in_series"), cells, ""
        for name in ("series_resistance_ohm", "rc_resistance_ohm"):
            yield ("battery", name), _few(pack[name] * ratio), "assumed: the same cells"
        for name in ("bus_low_v", "bus_high_v"):
            yield (
                ("battery", name),
                _few(pack[name] * ratio),
                f"{by_cells}; enter your drive's",
            )
        taper = _few(drive["regen_taper_v"] * ratio)
        yield ("drive", "regen_taper_v"), taper, by_cells


def _body(mass_kg: float) -> str:
    """Return the numbers of a body between those of the catalogue's riders, or beyond the last."""
    bodies = [shelves()["riders"][name]["body"] for name in entry_names(RIDER)]
    known = np.array([body["mass_kg"] for body in bodies])
    # The two nearest masses on either side, or the last two.
    place = int(np.clip(np.searchsorted(known, mass_kg), 1, len(known) - 1))
    share = (mass_kg - known[place - 1]) / (known[place] - known[place - 1])
    values = {
        key: _few(value + share * (bodies[place][key] - value))
        for key, value in bodies[place - 1].items()
    }
    values["mass_kg"] = float(mass_kg)
    return ", ".join(f"{key} = {value!r}" for key, value in values.items())


def _nearest_skill(mass_kg: float) -> str:
    names = [name for name in shelves()["skills"] if name.startswith(_HABIT)]
    return min(names, key=lambda name: abs(float(name.removeprefix(_HABIT)) - mass_kg))


def rider_name(mass_kg: float) -> str:
    """Return what a rider of a mass is called in a first study file."""
    return f"rider_{mass_kg:g}".replace(".", "_")


def _refuse_outside(whole: type, name: str, value: float) -> None:
    _, declared = declared_numbers(whole)[name]
    if declared.low <= value <= declared.high:
        return
    argument, what, ratio, unit = _GIVEN.get(name, ("", "", 1.0, ""))
    if argument:
        low, high, got = (f"{ratio * end:g}" for end in (declared.low, declared.high, value))
        raise ArgumentError(argument, f"must be {what} from {low} to {high}{unit}, got {got}")
    raise UserInputError(
        f"new: {name} must be from {declared.low:g} to {declared.high:g}, and would be"
        f" {value:.3g}; give other numbers, or none and edit study.toml"
    )


def _few(value: float) -> float:
    """Return a calculated number with few digits, for it is no better known."""
    return float(f"{value:.{_DIGITS}g}")


def _line(text: str, why: str) -> str:
    return f"{text:57s} # {why}" if why else text
