"""Tables as columns of one length, by name: read without the library of data frames.

That library takes longer to load than a command needs to show a candidate.
"""

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Columns: TypeAlias = Mapping[str, NDArray[Any]]


def texts(values: Sequence[str | None]) -> NDArray[np.object_]:
    """Return a column of texts, None where there is none."""
    return np.array(values, dtype=np.object_)


def rows_of(columns: Columns, chosen: NDArray[Any] | slice) -> Columns:
    """Return some rows of every column: those at places, where a mask is true, or of a slice."""
    return {name: column[chosen] for name, column in columns.items()}


def without(columns: Columns, *names: str) -> Columns:
    """Return all columns but some."""
    return {name: column for name, column in columns.items() if name not in names}


def n_rows(columns: Columns) -> int:
    """Return the length of the columns, of which there is one or more."""
    return len(next(iter(columns.values())))


def records(columns: Columns) -> list[dict[str, Any]]:
    """Return the rows, each as values by name."""
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    return [dict(zip(columns, row, strict=True)) for row in rows]
