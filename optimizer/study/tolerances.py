"""What is not known exactly: spreads of single numbers of board and rider."""

import dataclasses
import enum
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import numpy as np

from plant.arrays import Floats
from plant.description.board import Board
from plant.description.quantity import declared_numbers
from plant.description.rider import Rider

_Whole = TypeVar("_Whole", Board, Rider)


class Shape(enum.StrEnum):
    """How a number is spread between its ends."""

    UNIFORM = "uniform"  # anywhere between the ends alike
    NORMAL = "normal"  # the ends at two standard deviations, and cut off at three


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """The spread of one number of board or rider.

    Attributes
    ----------
    name : str
        Its name in `plant.description.board` or `plant.description.rider`.
    percent, plus_minus : float
        Half the width between the ends, of the number itself and in its own unit; they add.
    shape : Shape
    """

    name: str
    percent: float
    plus_minus: float
    shape: Shape


_DECLARED = {kind: declared_numbers(kind) for kind in (Board, Rider)}
KNOWN = {**_DECLARED[Board], **_DECLARED[Rider]}


def with_numbers(whole: _Whole, numbers: Mapping[str, float]) -> _Whole:
    """Return a board or rider with numbers replaced by name, each inside what it can be at all.

    Parameters
    ----------
    whole : Board or Rider
    numbers : mapping of a number's name to its value
        Names of the other kind are passed over.
    """
    known = _DECLARED[type(whole)]
    sections: dict[str, dict[str, float]] = {}
    for name, value in numbers.items():
        if name in known:
            section, declared = known[name]
            inside = min(max(value, declared.low), declared.high)
            sections.setdefault(section, {})[name] = inside
    changed: dict[str, Any] = {
        section: dataclasses.replace(getattr(whole, section), **inside)
        for section, inside in sections.items()
    }
    return dataclasses.replace(whole, **changed)


def number_of(whole: Board | Rider, name: str) -> float | None:
    """Return a number of a board or rider by name; None if it belongs to the other kind."""
    known = _DECLARED[type(whole)]
    return float(getattr(getattr(whole, known[name][0]), name)) if name in known else None


def moved(whole: _Whole, tolerances: Sequence[Tolerance], draw: Floats) -> _Whole:
    """Return a board or rider with every number that has a tolerance moved by its draw.

    Parameters
    ----------
    whole : Board or Rider
        Numbers of the other kind are passed over.
    tolerances : sequence of Tolerance
    draw : (tolerance,) float64
        From `optimizer.validation.tolerance_draws`; a number stays inside what it can be at all.
    """
    [one] = each_moved(whole, tolerances, draw[None])
    return one


def each_moved(whole: _Whole, tolerances: Sequence[Tolerance], draws: Floats) -> list[_Whole]:
    """Return a board or rider for each of some draws, (draw, tolerance), as of `moved`."""
    numbers = moved_numbers(whole, tolerances, draws)
    rows = zip(*(column.tolist() for column in numbers.values()), strict=True)
    if not numbers:
        return [whole] * len(draws)
    return [with_numbers(whole, dict(zip(numbers, row, strict=True))) for row in rows]


def moved_numbers(
    whole: Board | Rider, tolerances: Sequence[Tolerance], draws: Floats
) -> dict[str, Floats]:
    """Return the numbers of a board or rider that have a tolerance, moved by draws, (draw,).

    Parameters
    ----------
    whole, tolerances
        As of `moved`.
    draws : (draw, tolerance) float64
    """
    known = _DECLARED[type(whole)]
    numbers = {}
    for tolerance, shares in zip(tolerances, draws.T, strict=True):
        value = number_of(whole, tolerance.name)
        if value is not None:
            _, declared = known[tolerance.name]
            width = abs(value) * tolerance.percent / 100.0 + tolerance.plus_minus
            numbers[tolerance.name] = np.clip(value + width * shares, declared.low, declared.high)
    return numbers
