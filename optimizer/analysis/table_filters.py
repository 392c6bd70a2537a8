"""Filters and sort orders that a user writes, such as 'level_error_deg<2.5 and on_front==true'.

The text is read by this small grammar only and never run as code:
condition {('and' | ',') condition}, condition = column comparison value.
"""

import math
import operator
import re
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.analysis.columns import Columns, n_rows, rows_of
from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest

_COMPARISONS: dict[str, Callable[[Any, Any], Any]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "=": operator.eq,
    "!=": operator.ne,
}
_CONDITION = re.compile(r"\s*(\w+)\s*(<=|>=|==|!=|<|>|=)\s*(\S+)\s*", re.ASCII)
_JOINED = re.compile(r",|\band\b")
_TRUTHS = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}


def filtered(table: Columns, expressions: Iterable[str]) -> Columns:
    """Return the rows that meet every condition of every expression.

    Raises
    ------
    UserInputError
        An expression can not be read, or names a column that the table does not have.
    """
    for expression in expressions:
        for part in _JOINED.split(expression):
            table = rows_of(table, _meets(table, part, expression))
    return table


def sorted_by(table: Columns, columns: Iterable[str]) -> Columns:
    """Return the rows in the order of some columns; '-NAME' puts the largest first.

    Rows that are equal in all of them keep their order, and NaN comes last.

    Raises
    ------
    UserInputError
        The table does not have such a column.
    """
    order = np.arange(n_rows(table))
    # The last column first: a stable sort by an earlier one keeps its order among equals.
    for column in reversed(list(columns)):
        name = checked_column(table, column.removeprefix("-"), option="--sort")
        keys = np.unique(table[name][order], return_inverse=True)[1]
        known = table[name][order] == table[name][order]  # NaN alone differs from itself
        if column.startswith("-"):
            keys = -keys
        order = order[np.lexsort((keys, ~known))]
    return rows_of(table, order)


def named_columns(expressions: Iterable[str], order: Iterable[str]) -> list[str]:
    """Return the columns that readable filters and sort orders name, as they come."""
    parts = (part for expression in expressions for part in _JOINED.split(expression))
    found = (_CONDITION.fullmatch(part) for part in parts)
    filters = [condition.group(1) for condition in found if condition is not None]
    return [*filters, *(name.removeprefix("-") for name in order)]


def checked_column(table: Columns, name: str, *, option: str) -> str:
    """Return the name of a column.

    Raises
    ------
    UserInputError
        The table does not have such a column; the nearest is named.
    """
    if name not in table:
        raise UserInputError(
            f"{option}: there is no column {name!r}; the nearest is {nearest(name, table)}"
        )
    return name


def _meets(table: Columns, part: str, expression: str) -> NDArray[np.bool_]:
    found = _CONDITION.fullmatch(part)
    if found is None:
        raise UserInputError(
            f"--where: {expression!r} can not be read; write NAME, one of"
            " < <= > >= == != and a value, such as 'level_error_deg<2.5', joined by 'and'"
        )
    name, comparison, text = found.groups()
    column = table[checked_column(table, name, option="--where")]
    value = _value(column, text, expression)
    if isinstance(value, str | bool) and comparison not in ("==", "=", "!="):
        raise UserInputError(
            f"--where: {expression!r}: {name} can only be compared by == and !=, got {comparison}"
        )
    meets: NDArray[np.bool_] = _COMPARISONS[comparison](column, value)
    return meets


def _value(column: NDArray[Any], text: str, expression: str) -> float | bool | str:
    if column.dtype.kind == "b":
        if text.lower() not in _TRUTHS:
            raise UserInputError(f"--where: {expression!r}: must be true or false, got {text!r}")
        return _TRUTHS[text.lower()]
    if column.dtype.kind == "O":
        return text.strip("'\"")
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if math.isnan(number):
        raise UserInputError(f"--where: {expression!r}: must be a number, got {text!r}")
    return number
