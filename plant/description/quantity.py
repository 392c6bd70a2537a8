"""One declaration of a number: its meaning and the range in which it can be true.

A field declared with `quantity` is the same name in the TOML file, the dataclass, the kernel
row, the search space and the CSV column.
"""

import dataclasses
import math
from collections.abc import Iterator
from typing import Any


def quantity(text: str, low: float, high: float) -> Any:
    """Declare a dataclass field for a number with a meaning and an allowed range.

    Parameters
    ----------
    text : str
        What the number is, in a short phrase.
    low, high : float
        Inclusive range outside of which the number can not be true, in the unit that ends the
        field's name.
    """
    return dataclasses.field(metadata={"text": text, "low": low, "high": high})


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A declared number: `name` (ends in its unit), `text`, and the range `low` to `high`."""

    name: str
    text: str
    low: float
    high: float


def quantities(section: type) -> Iterator[Quantity]:
    """Yield the declared numbers of a dataclass, in order of declaration."""
    for field in dataclasses.fields(section):
        if "text" in field.metadata:
            yield Quantity(name=field.name, **field.metadata)


def check_quantities(section: Any) -> None:
    """Check every declared number of a dataclass instance against its range.

    Raises
    ------
    ValueError
        A number is not finite or lies outside its range; the message names the field, what was
        found and what is allowed.
    """
    for declared in quantities(type(section)):
        value = getattr(section, declared.name)
        if not math.isfinite(value) or not declared.low <= value <= declared.high:
            raise ValueError(
                f"{declared.name}: {declared.text} must be from {declared.low:g} to "
                f"{declared.high:g}, got {value:g}"
            )


def section_names(whole: type) -> tuple[str, ...]:
    """Return the declared numbers of every section, in order."""
    return tuple(
        declared.name
        for section in dataclasses.fields(whole)
        for declared in quantities(section.type)  # type: ignore[arg-type]
    )
