"""One line for the user about the first thing that is wrong in a table."""

import enum
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest, place, shown

_Model = TypeVar("_Model", bound=BaseModel)

# Numbers that are easily given in another unit: (from, to, what to do then).
_LOOKALIKES = {
    "kv_rpm_per_v": (0.3, 3.0, "if this is rad/s per V, multiply by 60/(2 pi) = 9.549"),
    "phase_inductance_h": (1.0, 1e4, "give henries: 100 uH is 1e-4"),
}


def checked(model: type[_Model], table: Any, *, path: Path, key: str = "") -> _Model:
    """Return the table checked by its model.

    Parameters
    ----------
    model : type
    table : Any
        What stands in the file.
    path : Path
        The file.
    key : str
        Where in the file the table stands, with dots.

    Raises
    ------
    UserInputError
        One line: file, key, what is allowed, what was found, what to do.
    """
    try:
        return model.model_validate(table)
    except ValidationError as error:
        found = error.errors(include_url=False)
    # A misspelt key is also a missing one: name what was written first.
    first = min(found, key=lambda detail: detail["type"] != "extra_forbidden")
    where = place(key, *first["loc"]) or "file"
    same = _missing_beside(first, found)
    also = f"; missing beside it: {', '.join(same)}" if same else ""
    n_more = len(found) - 1 - len(same)
    rest = f" ({n_more} more to correct after this)" if n_more else ""
    raise UserInputError(f"{path}: {where}: {_explained(first, model)}{also}{rest}")


def _missing_beside(first: ErrorDetails, found: list[ErrorDetails]) -> list[str]:
    """Return the other keys that the table lacks, where a missing key comes first."""
    if first["type"] != "missing":
        return []
    return [
        str(detail["loc"][-1])
        for detail in found
        if detail is not first
        and detail["type"] == "missing"
        and detail["loc"][:-1] == first["loc"][:-1]
    ]


def _explained(detail: ErrorDetails, model: type[BaseModel]) -> str:
    kind, value, loc = detail["type"], detail["input"], detail["loc"]
    if kind == "extra_forbidden":
        likely = nearest(str(loc[-1]), _type_at(model, loc[:-1]).model_fields)
        return f"unknown key; the nearest allowed is {likely}; correct it or take it out"
    if kind == "value_error":
        return str(detail["ctx"]["error"])
    if kind == "model_type":
        return f"must be a table of keys, got {shown(value)}; the catalogue has examples"
    if kind == "string_unicode" and not loc:
        return f"a key is no Unicode text, got {shown(value)}; correct it"
    name = [part for part in loc if isinstance(part, str)][-1]
    field = _field_at(model, loc[: loc.index(name)], name)
    text = field.description or "this key"
    if kind == "missing":
        # Only a table can begin with an entry of the catalogue.
        known = ", or begin its table with use = a known name" if len(loc) > 1 else ""
        return f"{text} ({_allowed(field)}) is missing; add it{known}"
    return f"{text} must be {_allowed(field)}, got {shown(value)}; {_advice(name, value)}"


def _advice(key: str, value: Any) -> str:
    low, high, likely = _LOOKALIKES.get(key, (1.0, 0.0, ""))
    if isinstance(value, int | float) and low <= value <= high:
        return likely
    return "check the number and the unit that ends its key" if "_" in key else "correct it"


def _allowed(field: FieldInfo) -> str:
    """Return what a value may be, such as 'a number from 3 to 200'."""
    kind = field.annotation
    limits = {
        name: getattr(rule, name)
        for rule in field.metadata
        for name in ("ge", "le")
        if hasattr(rule, name)
    }
    if len(limits) == 2:
        whole = "a whole number" if kind is int else "a number"
        return f"{whole} from {limits['ge']:g} to {limits['le']:g}"
    if isinstance(kind, type) and issubclass(kind, enum.Enum):
        return "one of " + ", ".join(kind)
    if get_origin(kind) is Literal:
        return "one of " + ", ".join(map(repr, get_args(kind)))
    if get_origin(kind) is dict or (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return "a table"
    if get_origin(kind) is tuple:
        return "a list"
    return "text in quotes" if kind is str else "a finite number"


def _field_at(model: type[BaseModel], loc: tuple[int | str, ...], name: str) -> FieldInfo:
    """Return the declaration of a key, or of any value in a table whose keys are free."""
    holder = _type_at(model, loc)
    if get_origin(holder) is dict:
        return FieldInfo.from_annotation(get_args(holder)[-1])
    declared: FieldInfo = holder.model_fields[name]
    return declared


def _type_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> Any:
    """Return the type of what stands at a place inside a table."""
    here: Any = model
    for name in loc:
        if isinstance(here, type) and issubclass(here, BaseModel):
            here = here.model_fields[str(name)].annotation
        else:  # tuple[X, ...] or dict[name, X]
            here = [kind for kind in get_args(here) if kind is not Ellipsis][-1]
        if type(None) in get_args(here):
            here = next(kind for kind in get_args(here) if kind is not type(None))
    return here
