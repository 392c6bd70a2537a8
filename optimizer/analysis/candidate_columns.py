"""Candidates as columns of one length, by name: what tables are made of, and filtered by."""

from collections.abc import Mapping
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES, OBJECTIVES
from optimizer.analysis.results import Results

Columns: TypeAlias = Mapping[str, NDArray[Any]]

CONSTRAINT_COLUMNS = tuple(f"constraint_{name}_ratio" for name in CONSTRAINT_NAMES)


def candidate_columns(results: Results) -> Columns:
    """Return every finished candidate, one row each in number order.

    Columns: number, generation, picks, feasible, on_front, reevaluated (its numbers are those on
    fresh noise), rides_ridden; the objectives and the weighted cost, empty where not all rides were
    ridden; the descriptors; each constraint (met at 0 or below) and the sum of those violated; the
    searched parameters. Units end the names; `worst_ride` is the ride nearest to a nose-down.
    """
    history = results.history
    picks = [";".join(results.pick_names(number)) for number in range(len(results))]
    return {
        "number": np.arange(len(results)),
        "generation": results.generations,
        "picks": np.array(picks, dtype=np.object_),
        "feasible": results.feasible,
        "on_front": results.on_front,
        "reevaluated": results.reevaluated,
        "rides_ridden": results.rides_ridden,
        **dict(zip(OBJECTIVES, history.objectives.T, strict=True)),
        "weighted_cost_ratio": results.weighted_cost,
        **_descriptors(results),
        **dict(zip(CONSTRAINT_COLUMNS, history.constraints.T, strict=True)),
        "violation_ratio": results.violation,
        **dict(zip(results.study.space.names, history.values.T, strict=True)),
    }


def front_columns(results: Results) -> Columns:
    """Return the candidates on the front, in number order; empty when none is feasible."""
    return rows_of(candidate_columns(results), results.on_front)


def rows_of(columns: Columns, chosen: NDArray[Any] | slice) -> Columns:
    """Return some rows of every column: those at places, where a mask is true, or of a slice."""
    return {name: column[chosen] for name, column in columns.items()}


def n_rows(columns: Columns) -> int:
    """Return the length of the columns, of which there is one or more."""
    return len(next(iter(columns.values())))


def records(columns: Columns) -> list[dict[str, Any]]:
    """Return the rows, each as values by name."""
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    return [dict(zip(columns, row, strict=True)) for row in rows]


def _descriptors(results: Results) -> dict[str, NDArray[Any]]:
    columns = dict(zip(DESCRIPTOR_NAMES, results.descriptors.T, strict=True))
    ride_names = np.array([ride.name for ride in results.study.rides], dtype=np.object_)
    columns["worst_ride"] = ride_names[columns["worst_ride"].astype(int)]
    columns["rides_ended"] = columns["rides_ended"].astype(int)
    return columns
