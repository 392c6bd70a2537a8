"""Checks for the tolerances that a study gives to numbers of board and rider."""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import PlainValidator, model_validator

from optimizer.base.messages import nearest
from optimizer.study.dataclass_schema import Table, number
from optimizer.study.tolerances import KNOWN, Shape, Tolerance


def _known_name(given: Any) -> str:
    if given not in KNOWN:
        likely = nearest(str(given), KNOWN)
        raise ValueError(f"board and rider have no {given!r}; the nearest is {likely}; correct it")
    return str(given)


NumberName = Annotated[str, PlainValidator(_known_name)]


class ToleranceTable(Table):
    """The spread of one number."""

    percent: number("half width in percent of the number", 0.0, 95.0) = 0.0  # type: ignore[valid-type]
    plus_minus: number("half width in the number's unit", 0.0, 1e6) = 0.0  # type: ignore[valid-type]
    shape: Shape = Shape.UNIFORM

    @model_validator(mode="after")
    def _has_width(self) -> "ToleranceTable":
        if self.percent == 0.0 and self.plus_minus == 0.0:
            raise ValueError("percent or plus_minus must be above 0, got neither; give one")
        return self


def tolerances_of(tables: Mapping[str, ToleranceTable]) -> tuple[Tolerance, ...]:
    """Return the tolerances of checked tables, by the names of their numbers."""
    return tuple(
        Tolerance(
            name=name, percent=spread.percent, plus_minus=spread.plus_minus, shape=spread.shape
        )
        for name, spread in tables.items()
    )
