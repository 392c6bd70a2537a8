"""What is not known exactly: spreads of single numbers of board and rider."""

import dataclasses
import enum
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

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
    return mover(whole, tolerances)(draw)


def mover(whole: _Whole, tolerances: Sequence[Tolerance]) -> Callable[[Floats], _Whole]:
    """Return the function from a draw to a board or rider as of `moved`, for many draws of one."""
    known = _DECLARED[type(whole)]
    numbers: dict[str, list[tuple[str, int, float, float, float, float]]] = {}
    for place, tolerance in enumerate(tolerances):
        value = number_of(whole, tolerance.name)
        if value is not None:
            section, declared = known[tolerance.name]
            width = abs(value) * tolerance.percent / 100.0 + tolerance.plus_minus
            numbers.setdefault(section, []).append(
                (tolerance.name, place, value, width, declared.low, declared.high)
            )
    kept = _fields_of(whole)
    sections = [
        (name, type(kept[name]), _fields_of(kept[name]), spreads)
        for name, spreads in numbers.items()
    ]

    def moved_by(draw: Floats) -> _Whole:
        shares = draw.tolist()
        changed = dict(kept)
        for section, kind, own, spreads in sections:
            fields = dict(own)
            for name, place, value, width, low, high in spreads:
                number = value + width * shares[place]
                # A riding day draws millions: comparisons take half as long as min and max.
                fields[name] = low if number < low else high if number > high else number
            changed[section] = kind(**fields)
        return type(whole)(**changed)

    return moved_by


def _fields_of(instance: Any) -> dict[str, Any]:
    """Return the fields of a dataclass instance by name, not copied."""
    return {field.name: getattr(instance, field.name) for field in dataclasses.fields(instance)}
