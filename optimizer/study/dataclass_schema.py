"""Checks for tables of a file, made from the dataclasses of the plant.

A dataclass declares each number once, with its meaning and range. From that declaration come the
key of the TOML file, its check and its message.
"""

import dataclasses
import functools
import types
import typing
from collections.abc import Mapping
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, create_model

_Section = TypeVar("_Section")


class Table(BaseModel):
    """A table of a TOML file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def number(text: str, low: float, high: float) -> Any:
    """Return the type of a number with a meaning and an inclusive range."""
    return Annotated[
        float, Field(strict=True, allow_inf_nan=False, ge=low, le=high, description=text)
    ]


def table_model(section: type, types: Mapping[str, Any], *, base: type[Table] = Table) -> Any:
    """Return the model of a dataclass, with a type given for each of its fields.

    Parameters
    ----------
    section : type
        A dataclass; its defaults stay defaults.
    types : mapping of field name to type
    base : type
        A table with keys of its own.
    """
    fields = {
        field.name: (
            types[field.name],
            _default(field),
        )
        for field in dataclasses.fields(section)
        if field.name in types
    }
    return create_model(section.__name__, __base__=base, **fields)  # type: ignore[call-overload]


def _default(field: dataclasses.Field[Any]) -> Any:
    """Return the default of a field for its model; an ellipsis where it must be given."""
    if field.default_factory is not dataclasses.MISSING:
        return Field(default_factory=field.default_factory)
    return ... if field.default is dataclasses.MISSING else field.default


@functools.cache
def section_model(section: type) -> type[Table]:
    """Return the model of a dataclass of declared numbers and choices, or of sections of them.

    Raises
    ------
    TypeError
        A field is none of these; it needs a type of its own through `table_model`.
    """
    hints = typing.get_type_hints(section)
    found: dict[str, Any] = {}
    for field in dataclasses.fields(section):
        if "text" in field.metadata:
            declared = field.metadata
            found[field.name] = number(declared["text"], declared["low"], declared["high"])
        elif typing.get_origin(hints[field.name]) is typing.Literal:
            found[field.name] = hints[field.name]
        elif dataclasses.is_dataclass(hints[field.name]):
            found[field.name] = section_model(hints[field.name])
        else:
            raise TypeError(f"{section.__name__}.{field.name} has no declared range")
    model: type[Table] = table_model(section, found)
    return model


def section_of(section: type[_Section], table: BaseModel) -> _Section:
    """Return the dataclass of a checked table.

    Raises
    ------
    ValueError
        The numbers contradict each other.
    """
    hints = typing.get_type_hints(section)
    values = {
        field.name: _value(hints[field.name], getattr(table, field.name))
        for field in dataclasses.fields(typing.cast(Any, section))
        if hasattr(table, field.name)
    }
    return section(**values)


def _value(hint: Any, value: Any) -> Any:
    if isinstance(value, BaseModel):
        plain = [kind for kind in typing.get_args(hint) if kind is not types.NoneType]
        return section_of(plain[0] if plain else hint, value)
    if isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
        return tuple(section_of(typing.get_args(hint)[0], item) for item in value)
    return value
