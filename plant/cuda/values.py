"""What an expression of a lane's function is while it is translated: known already, or C++ text.

Types of C++ text are `double`, `int` (32 bits: steps, slots and places in tables), `bool` and
`word` (64 bits without a sign).
"""

import dataclasses
import math
import re
import struct
from typing import Any, TypeAlias

import numpy as np

DOUBLE, INT, BOOL, WORD = "double", "int", "bool", "word"
TILE = 32  # lanes, rides or profiles side by side in memory: the threads that go in step


class TranslationError(ValueError):
    """A construct that the translation does not know; names file and line."""


@dataclasses.dataclass(frozen=True, slots=True)
class Static:
    """A value known before anything rides: a constant, a module, a function, a row's number."""

    value: Any


@dataclasses.dataclass(frozen=True, slots=True)
class Code:
    """C++ text of one number, less `base`: a known whole number still to be added to an `int`."""

    text: str
    type: str
    base: int = 0

    @property
    def whole(self) -> str:
        """The text with its base."""
        return f"({self.base} + {self.text})" if self.base else self.text


@dataclasses.dataclass(frozen=True, slots=True)
class LaneRows:
    """The flat buffer of a lane's rows."""


@dataclasses.dataclass(frozen=True, slots=True)
class Table:
    """A table in memory that a lane reads: rows of so many columns."""

    name: str
    n_columns: int


# A tuple is known in its length, whatever its members are.
Value: TypeAlias = "Static | Code | LaneRows | Table | tuple[Value, ...]"
INT_LIMIT = 2**31


def static_type(value: object) -> str:
    """Return the C++ type of a known number.

    Raises
    ------
    TranslationError
        It is no number that a lane reckons with.
    """
    if isinstance(value, bool | np.bool_):
        return BOOL
    if isinstance(value, np.uint64):
        return WORD
    if isinstance(value, int | np.signedinteger) and -INT_LIMIT <= value < INT_LIMIT:
        return INT
    if isinstance(value, float | np.float64) and math.isfinite(value):
        return DOUBLE
    raise TranslationError(f"no number of a lane: {value!r}")


def literal(value: Any) -> str:
    """Return a known number as C++ text; a real one by a name that holds its bits."""
    kind = static_type(value)
    if kind == BOOL:
        return "true" if value else "false"
    if kind == DOUBLE:
        return f"REAL_{struct.pack('>d', value).hex()}"
    return f"{int(value)}ULL" if kind == WORD else f"({value})"


def reals(text: str) -> dict[str, float]:
    """Return the real numbers that a text names, by name."""
    names = sorted(set(re.findall(r"\bREAL_[0-9a-f]{16}\b", text)))
    return {name: struct.unpack(">d", bytes.fromhex(name[5:]))[0] for name in names}


def type_of(value: Value) -> str:
    """Return the C++ type of a value that is one number."""
    if isinstance(value, Static):
        return static_type(value.value)
    if isinstance(value, Code):
        return value.type
    raise TranslationError("one number is wanted here")


def text_of(value: Value, kind: str | None = None) -> str:
    """Return the C++ text of a value that is one number, as the type asked for.

    Only a whole number becomes another type unasked, a `double`, as it does in Python.
    """
    own = type_of(value)
    kind = kind or own
    if own != kind and (own, kind) != (INT, DOUBLE):
        raise TranslationError(f"{own} where {kind} is wanted")
    if isinstance(value, Static):
        return literal(float(value.value) if kind == DOUBLE else value.value)
    whole = value.whole if isinstance(value, Code) else ""
    return whole if own == kind else f"double({whole})"


def common_type(left: Value, right: Value) -> str:
    """Return the type in which two numbers meet."""
    kinds = {type_of(left), type_of(right)}
    if len(kinds) == 1:
        return kinds.pop()
    if kinds == {INT, DOUBLE}:
        return DOUBLE
    raise TranslationError(f"{' and '.join(sorted(kinds))} do not meet")
