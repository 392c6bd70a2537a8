"""One declaration of a number: its meaning and the range in which it can be true.

A field declared with `quantity` is the same name in the TOML file, the dataclass, the kernel
row, the search space and the CSV column.
"""

import dataclasses
import enum
import functools
import operator
import types
from collections.abc import Callable, Mapping
from typing import Any


class Kind(enum.Enum):
    """What a number is, where rescaling or capping depends on it."""

    CURRENT = "current"  # in A
    CURRENT_GAIN = "current per something"
    BUS_VOLTAGE = "bus voltage"  # in V, of the whole pack
    OTHER = "anything else"


def quantity(text: str, low: float, high: float, *, kind: Kind = Kind.OTHER) -> Any:
    """Declare a dataclass field for a number with a meaning and an allowed range.

    Parameters
    ----------
    text : str
        What the number is, in a short phrase.
    low, high : float
        Inclusive range outside of which the number can not be true, in the unit that ends the
        field's name.
    kind : Kind
    """
    return dataclasses.field(metadata={"text": text, "low": low, "high": high, "kind": kind})


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A declared number: `name` (ends in its unit), `text`, the range `low` to `high`, `kind`."""

    name: str
    text: str
    low: float
    high: float
    kind: Kind


@functools.cache
def quantities(section: type) -> tuple[Quantity, ...]:
    """Return the declared numbers of a dataclass, in order of declaration."""
    return tuple(
        Quantity(name=field.name, **field.metadata)
        for field in dataclasses.fields(section)
        if "text" in field.metadata
    )


def check_quantities(section: Any) -> None:
    """Check every declared number of a dataclass instance against its range.

    Raises
    ------
    ValueError
        A number is not finite or lies outside its range; the message names the field, what was
        found and what is allowed.
    """
    names, lows, highs = _ranges(type(section))  # type: ignore[arg-type]
    values = [getattr(section, name) for name in names]
    # A comparison with NaN fails too. Riding days check millions of numbers that are right.
    if all(map(operator.le, lows, values)) and all(map(operator.le, values, highs)):
        return
    for declared, value in zip(quantities(type(section)), values, strict=True):  # type: ignore[arg-type]
        if not declared.low <= value <= declared.high:
            raise ValueError(
                f"{declared.name}: {declared.text} must be from {declared.low:g} to "
                f"{declared.high:g}, got {value:g}"
            )


@functools.cache
def _ranges(section: type) -> tuple[tuple[str, ...], tuple[float, ...], tuple[float, ...]]:
    """Return names, least and largest values of the declared numbers of a dataclass."""
    declared = quantities(section)
    return (
        tuple(one.name for one in declared),
        tuple(one.low for one in declared),
        tuple(one.high for one in declared),
    )


@functools.cache
def declared_numbers(whole: type) -> Mapping[str, tuple[str, Quantity]]:
    """Return the section and the declaration of each number of a board, rider or profile, by name.

    In order of declaration. `whole` is a dataclass whose fields are sections of declared numbers.
    """
    return types.MappingProxyType(
        {
            declared.name: (section.name, declared)
            for section in dataclasses.fields(whole)
            for declared in quantities(section.type)  # type: ignore[arg-type]
        }
    )


def numbers_of(whole: Any) -> dict[str, float]:
    """Return the numbers of a board, rider or profile by name, in order of declaration."""
    names, values = _names_and_getter(type(whole))  # type: ignore[arg-type]
    return dict(zip(names, map(float, values(whole)), strict=True))


@functools.cache
def _names_and_getter(whole: type) -> tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]]]:
    """Return the names of all numbers of a board, rider or profile, and what gets them at once."""
    declared = declared_numbers(whole)
    return tuple(declared), operator.attrgetter(
        *(f"{section}.{name}" for name, (section, _) in declared.items())
    )


def check_sections(whole: Any) -> None:
    """Check every number of a board, rider or profile; see `check_quantities`."""
    for name in _section_names(type(whole)):  # type: ignore[arg-type]
        check_quantities(getattr(whole, name))


@functools.cache
def _section_names(whole: type) -> tuple[str, ...]:
    return tuple(section.name for section in dataclasses.fields(whole))
