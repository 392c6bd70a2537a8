"""What operators and known functions make of numbers: reckoned where known, else C++ text."""

import ast
import math
import operator
from collections.abc import Callable
from typing import Any

import numpy as np

from plant.arithmetic import FUSED_NAME
from plant.cuda.values import (
    BOOL,
    DOUBLE,
    INT,
    WORD,
    Code,
    Static,
    TranslationError,
    Value,
    common_type,
    text_of,
    type_of,
)

_OPERATORS: dict[type[ast.operator], tuple[str, Callable[[Any, Any], Any], tuple[str, ...]]] = {
    ast.Add: ("+", operator.add, (DOUBLE, INT, WORD)),
    ast.Sub: ("-", operator.sub, (DOUBLE, INT)),
    ast.Mult: ("*", operator.mul, (DOUBLE, INT, WORD)),
    ast.BitAnd: ("&", operator.and_, (INT, WORD)),
    ast.BitXor: ("^", operator.xor, (INT, WORD)),
    ast.RShift: (">>", operator.rshift, (WORD,)),
}
_WHOLE: dict[type[ast.operator], tuple[str, Callable[[Any, Any], Any]]] = {
    ast.FloorDiv: ("whole_quotient", operator.floordiv),
    ast.Mod: ("whole_remainder", operator.mod),
}
_COMPARISONS: dict[type[ast.cmpop], tuple[str, Callable[[Any, Any], Any]]] = {
    ast.Lt: ("<", operator.lt),
    ast.LtE: ("<=", operator.le),
    ast.Gt: (">", operator.gt),
    ast.GtE: (">=", operator.ge),
    ast.Eq: ("==", operator.eq),
    ast.NotEq: ("!=", operator.ne),
}
# Function of Python -> types it takes, how C++ writes it, and the type it gives. 32 bits hold every
# step and place; `np.uintp` is `np.uint64`.
_CALLS: dict[Any, tuple[tuple[str, ...], str, str]] = {
    math.sqrt: ((DOUBLE,), "sqrt({})", DOUBLE),
    math.fabs: ((DOUBLE,), "fabs({})", DOUBLE),
    math.floor: ((DOUBLE,), "int(floor({}))", INT),
    np.sqrt: ((DOUBLE,), "sqrt({})", DOUBLE),
    np.floor: ((DOUBLE,), "floor({})", DOUBLE),
    int: ((DOUBLE, INT), "int({})", INT),
    float: ((DOUBLE, INT), "double({})", DOUBLE),
    np.int32: ((WORD, INT), "int({})", INT),
    np.int64: ((INT,), "{}", INT),
    np.uint32: ((DOUBLE,), "word(half_word({}))", WORD),
    np.uint64: ((INT, WORD), "word({})", WORD),
}


def known_call(called: Any, values: list[Value]) -> Value:
    """Return the value of a call of Python's or numpy's own functions."""
    if called == FUSED_NAME:
        return _fused(*values)
    if called not in _CALLS or len(values) != 1:
        raise TranslationError(f"a call of {called!r}")
    kinds, text, gives = _CALLS[called]
    value = one(values[0])
    if isinstance(value, Static):
        return Static(called(value.value))
    if value.type not in kinds:
        raise TranslationError(f"{called.__name__} of {value.type}")
    return Code(text.format(value.whole), gives)


def one(value: Value) -> Static | Code:
    """Return a value that must be one number."""
    if not isinstance(value, Static | Code):
        raise TranslationError("one number is wanted here")
    return value


def either(
    value: Static | Code, reckon: Callable[[Any], Any], text: str, kind: str
) -> Static | Code:
    """Return what becomes of one number: reckoned where it is known, else as text."""
    if isinstance(value, Static):
        return Static(reckon(value.value))
    return Code(text.format(value.whole), kind)


def _fused(a: Value, b: Value, c: Value) -> Value:
    if {type_of(a), type_of(b), type_of(c)} == {INT}:
        return arithmetic(ast.Add, arithmetic(ast.Mult, a, b), c)
    return Code(f"fma({', '.join(text_of(value, DOUBLE) for value in (a, b, c))})", DOUBLE)


def arithmetic(kind_of: type[ast.operator], left: Value, right: Value) -> Value:
    """Return what an operator makes of two numbers, rounded as Python rounds it."""
    left, right = one(left), one(right)
    if kind_of is ast.Pow:
        return _square(left, right)
    if kind_of in _WHOLE:
        return _whole(kind_of, left, right)
    if kind_of is ast.Div:
        return _ratio(left, right)
    if kind_of not in _OPERATORS:
        raise TranslationError(f"the operator {kind_of.__name__}")
    return _plain(kind_of, left, right)


def _plain(kind_of: type[ast.operator], left: Static | Code, right: Static | Code) -> Value:
    sign, reckon, kinds = _OPERATORS[kind_of]
    if isinstance(left, Static) and isinstance(right, Static):
        return Static(reckon(left.value, right.value))
    kind = common_type(left, right)
    if kind not in kinds:
        raise TranslationError(f"{kind_of.__name__} of {kind}")
    if kind == INT and kind_of is ast.Add:
        return _whole_sum(left, right)
    return Code(f"({text_of(left, kind)} {sign} {text_of(right, kind)})", kind)


def _ratio(of: Static | Code, over: Static | Code) -> Value:
    if isinstance(of, Static) and isinstance(over, Static):
        return Static(of.value / over.value)
    return Code(f"({text_of(of, DOUBLE)} / {text_of(over, DOUBLE)})", DOUBLE)


def compared(kind_of: type[ast.cmpop], left: Value, right: Value) -> Value:
    """Return whether a comparison of two numbers holds; false for NaN, as in Python."""
    if kind_of not in _COMPARISONS:
        raise TranslationError(f"the comparison {kind_of.__name__}")
    sign, reckon = _COMPARISONS[kind_of]
    left, right = one(left), one(right)
    if isinstance(left, Static) and isinstance(right, Static):
        return Static(bool(reckon(left.value, right.value)))
    kind = common_type(left, right)
    return Code(f"({text_of(left, kind)} {sign} {text_of(right, kind)})", BOOL)


def _whole_sum(left: Static | Code, right: Static | Code) -> Code:
    """Return a sum of whole numbers whose known part stays apart: it may be a row's number."""
    if isinstance(left, Static):
        return _whole_sum(right, left)
    if isinstance(right, Static):
        return Code(left.text, INT, left.base + int(right.value))
    return Code(f"({left.text} + {right.text})", INT, left.base + right.base)


def _whole(kind_of: type[ast.operator], left: Static | Code, right: Static | Code) -> Value:
    name, reckon = _WHOLE[kind_of]
    if isinstance(left, Static) and isinstance(right, Static):
        return Static(reckon(left.value, right.value))
    if common_type(left, right) != INT:
        raise TranslationError(f"{kind_of.__name__} of what is not whole")
    return Code(f"{name}({text_of(left)}, {text_of(right)})", INT)


def _square(of: Static | Code, power: Static | Code) -> Value:
    """Return a square; the compiled kernel multiplies as well, and other powers differ."""
    if isinstance(of, Static) and isinstance(power, Static):
        return Static(of.value**power.value)
    if power != Static(2) or not isinstance(of, Code):
        raise TranslationError("a power other than the square")
    return Code(f"square({text_of(of, DOUBLE)})", DOUBLE)
