"""From an expression of Python's syntax tree to a value: known, or C++ text."""

import ast
import builtins
import inspect
import operator
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from plant.arithmetic import FUSED_NAME
from plant.cuda.operations import arithmetic, compared, either, known_call, one
from plant.cuda.values import (
    BOOL,
    DOUBLE,
    INT,
    WORD,
    Code,
    LaneRows,
    Static,
    Table,
    TranslationError,
    Value,
    common_type,
    text_of,
    type_of,
)


class Rows(Protocol):
    """Where a lane's rows stand: each by itself, or several in memory one after the other."""

    def at(self, row: int, *, writes: bool) -> str:
        """Return the text of one row, to be read or written."""

    def among(self, first: int, place: str, *, writes: bool) -> str:
        """Return the text of the row that is `place` rows after `first`, likewise."""


class Expressions:
    """Translates the expressions of one function.

    Parameters
    ----------
    names : mapping of str to Value
        What the function's own names mean, kept up to date by the caller.
    outer : mapping of str to object
        The function's globals.
    rows : Rows
    call : callable
        Returns the value of a call of another of the lane's functions.
    """

    def __init__(
        self,
        names: Mapping[str, Value],
        outer: Mapping[str, Any],
        rows: Rows,
        call: Callable[[Any, list[Value]], Value],
    ) -> None:
        self._names = names
        self._outer = outer
        self._rows = rows
        self._call_lane = call

    def value(self, node: ast.expr) -> Value:
        """Return what an expression is.

        Raises
        ------
        TranslationError
            A construct that is not known here; names the line.
        """
        translate = getattr(self, f"_{type(node).__name__.lower()}", None)
        if translate is None:
            raise TranslationError(f"{type(node).__name__} is not translated")
        found: Value = translate(node)
        return found

    def condition(self, node: ast.expr) -> Static | Code:
        """Return an expression that must be true or false."""
        value = self.value(node)
        if type_of(value) != BOOL:
            raise TranslationError("a condition must be true or false, not a number")
        return one(value)

    def place(self, node: ast.Subscript) -> str:
        """Return the text of a row that is written."""
        if not isinstance(self.value(node.value), LaneRows):
            raise TranslationError("only rows of a lane are written")
        return self._row(self.value(node.slice), writes=True)

    def _row(self, index: Value, *, writes: bool) -> str:
        if type_of(index) != INT:
            raise TranslationError("a row is found by a whole number")
        place = one(index)
        if isinstance(place, Static):
            return self._rows.at(int(place.value), writes=writes)
        return self._rows.among(place.base, place.text, writes=writes)

    def _constant(self, node: ast.Constant) -> Value:
        return Static(node.value)

    def _name(self, node: ast.Name) -> Value:
        if node.id in self._names:
            return self._names[node.id]
        if node.id == FUSED_NAME:
            return Static(FUSED_NAME)
        if node.id in self._outer:
            return Static(self._outer[node.id])
        if hasattr(builtins, node.id):
            return Static(getattr(builtins, node.id))
        raise TranslationError(f"{node.id} has no value here on every way")

    def _attribute(self, node: ast.Attribute) -> Value:
        of = self.value(node.value)
        if isinstance(of, Table) and node.attr == "shape":
            return (Code(f"b.{of.name}_rows", INT), Static(of.n_columns))
        if isinstance(of, Static):
            return Static(getattr(of.value, node.attr))
        raise TranslationError(f".{node.attr} of what is not known before the ride")

    def _tuple(self, node: ast.Tuple) -> Value:
        return tuple(self.value(member) for member in node.elts)

    def _subscript(self, node: ast.Subscript) -> Value:
        of, index = self.value(node.value), self.value(node.slice)
        if isinstance(of, LaneRows):
            return Code(self._row(index, writes=False), DOUBLE)
        if isinstance(of, Table):
            if not isinstance(index, tuple) or not {type_of(part) for part in index} <= {INT, WORD}:
                raise TranslationError("a table is read at a row and a column")
            row, column = (text_of(part) for part in index)
            return Code(f"b.{of.name}[{row} * {of.n_columns} + {column}]", DOUBLE)
        if isinstance(index, Static):
            if isinstance(of, tuple):
                member: Value = of[index.value]
                return member
            if isinstance(of, Static):
                return Static(of.value[index.value])
        raise TranslationError("an index of what is known must be known before the ride")

    def _unaryop(self, node: ast.UnaryOp) -> Value:
        if isinstance(node.op, ast.Not):
            value = self.condition(node.operand)
            return either(value, operator.not_, "(!{})", BOOL)
        value = one(self.value(node.operand))
        if not isinstance(node.op, ast.USub) or type_of(value) not in {DOUBLE, INT}:
            raise TranslationError(f"{type(node.op).__name__} of {type_of(value)}")
        return either(value, operator.neg, "(-{})", type_of(value))

    def _binop(self, node: ast.BinOp) -> Value:
        return arithmetic(type(node.op), self.value(node.left), self.value(node.right))

    def _boolop(self, node: ast.BoolOp) -> Value:
        is_and = isinstance(node.op, ast.And)
        parts: list[str] = []
        for operand in node.values:
            value = self.condition(operand)
            if isinstance(value, Static):
                if bool(value.value) != is_and:  # decides: nothing after it is evaluated
                    if not parts:
                        return Static(not is_and)
                    parts.append(text_of(value))
                    break
            else:
                parts.append(value.whole)
        if not parts:
            return Static(is_and)
        return Code(f"({(' && ' if is_and else ' || ').join(parts)})", BOOL)

    def _compare(self, node: ast.Compare) -> Value:
        if len(node.ops) != 1:
            raise TranslationError("a comparison of more than two numbers")
        return compared(type(node.ops[0]), self.value(node.left), self.value(node.comparators[0]))

    def _ifexp(self, node: ast.IfExp) -> Value:
        condition = self.condition(node.test)
        if isinstance(condition, Static):
            return self.value(node.body if condition.value else node.orelse)
        yes, no = one(self.value(node.body)), one(self.value(node.orelse))
        kind = common_type(yes, no)
        text = f"({condition.whole} ? {text_of(yes, kind)} : {text_of(no, kind)})"
        return Code(text, kind)

    def _called(self, node: ast.Call) -> Any:
        called = self.value(node.func)
        if not isinstance(called, Static) or node.keywords:
            raise TranslationError("a call must be of a known function, without keywords")
        return called.value

    def arguments(self, node: ast.Call) -> list[Value]:
        """Return the values of a call's arguments."""
        return [self.value(argument) for argument in node.args]

    def lane_function(self, node: ast.expr) -> Callable[..., Any] | None:
        """Return which of the lane's own functions an expression calls, None for no such call."""
        if not isinstance(node, ast.Call):
            return None
        called = self._called(node)
        own = inspect.isfunction(getattr(called, "py_func", called))
        return called if own else None

    def bounds(self, node: ast.expr) -> list[Value]:
        """Return the first and the end of the numbers that a loop counts."""
        if not isinstance(node, ast.Call) or self._called(node) is not range:
            raise TranslationError("a loop must be over a range")
        bounds = self.arguments(node)
        if len(bounds) > 2:
            raise TranslationError("a loop must count by one")
        return bounds if len(bounds) == 2 else [Static(0), *bounds]

    def _call(self, node: ast.Call) -> Value:
        called = self._called(node)
        if self.lane_function(node) is not None:
            return self._call_lane(called, self.arguments(node))
        return known_call(called, self.arguments(node))
