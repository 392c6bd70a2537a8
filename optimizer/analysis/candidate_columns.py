"""Candidates as columns of one length, by name: what tables are made of, and filtered by."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES, OBJECTIVES
from optimizer.analysis.columns import Columns, rows_of, texts
from optimizer.analysis.results import Results

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
        "picks": texts(picks),
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


def _descriptors(results: Results) -> dict[str, NDArray[Any]]:
    columns = dict(zip(DESCRIPTOR_NAMES, results.descriptors.T, strict=True))
    ride_names = texts([ride.name for ride in results.study.rides])
    columns["worst_ride"] = ride_names[columns["worst_ride"].astype(int)]
    columns["rides_ended"] = columns["rides_ended"].astype(int)
    return columns
