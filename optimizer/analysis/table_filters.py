"""Filters and sort orders that a user writes, such as 'level_error_deg<2.5 and on_front==true'.

The text is read by this small grammar only and never run as code:
condition {('and' | ',') condition}, condition = column comparison value.
"""

import operator
import re
from collections.abc import Callable, Iterable
from typing import Any

import pandas as pd

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


def filtered(table: pd.DataFrame, expressions: Iterable[str]) -> pd.DataFrame:
    """Return the rows that meet every condition of every expression.

    Raises
    ------
    UserInputError
        An expression can not be read, or names a column that the table does not have.
    """
    for expression in expressions:
        for part in _JOINED.split(expression):
            table = table[_meets(table, part, expression)]
    return table


def sorted_by(table: pd.DataFrame, columns: Iterable[str]) -> pd.DataFrame:
    """Return the rows in the order of some columns; '-NAME' puts the largest first.

    Raises
    ------
    UserInputError
        The table does not have such a column.
    """
    names, rising = [], []
    for column in columns:
        name = column.removeprefix("-")
        names.append(checked_column(table, name, option="--sort"))
        rising.append(name == column)
    if not names:
        return table
    return table.sort_values(names, ascending=rising, kind="stable")


def named_columns(expressions: Iterable[str], order: Iterable[str]) -> list[str]:
    """Return the columns that readable filters and sort orders name, as they come."""
    parts = (part for expression in expressions for part in _JOINED.split(expression))
    found = (_CONDITION.fullmatch(part) for part in parts)
    filters = [condition.group(1) for condition in found if condition is not None]
    return [*filters, *(name.removeprefix("-") for name in order)]


def checked_column(table: pd.DataFrame, name: str, *, option: str) -> str:
    """Return the name of a column.

    Raises
    ------
    UserInputError
        The table does not have such a column; the nearest is named.
    """
    if name not in table.columns:
        raise UserInputError(
            f"{option}: there is no column {name!r}; the nearest is"
            f" {nearest(name, map(str, table.columns))}"
        )
    return name


def _meets(table: pd.DataFrame, part: str, expression: str) -> "pd.Series[bool]":
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
    meets: pd.Series[bool] = _COMPARISONS[comparison](column, value)
    return meets


def _value(column: "pd.Series[Any]", text: str, expression: str) -> float | bool | str:
    if pd.api.types.is_bool_dtype(column):
        if text.lower() not in _TRUTHS:
            raise UserInputError(f"--where: {expression!r}: must be true or false, got {text!r}")
        return _TRUTHS[text.lower()]
    if not pd.api.types.is_numeric_dtype(column):
        return text.strip("'\"")
    try:
        return float(text)
    except ValueError:
        raise UserInputError(f"--where: {expression!r}: must be a number, got {text!r}") from None
