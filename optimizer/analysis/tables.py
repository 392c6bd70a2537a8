"""Candidates as tables, in memory and as CSV and Parquet files."""

import dataclasses
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES, OBJECTIVES, RIDE_COLUMNS
from optimizer.analysis.results import Results
from optimizer.base.atomic_files import write_whole
from optimizer.search.pareto import feasible
from optimizer.study.paths import RESULTS_FOLDER
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.kernel.outcomes import Outcome
from plant.kernel.trace import Trace

_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # common practice, as spreadsheets read a cell

CONSTRAINT_COLUMNS = tuple(f"constraint_{name}_ratio" for name in CONSTRAINT_NAMES)


def candidates_table(results: Results) -> pd.DataFrame:
    """Return every finished candidate, one row each in number order.

    Columns: number, generation, picks, feasible, on_front, reevaluated (its numbers are those on
    fresh noise), rides_ridden; the objectives and the weighted cost, empty where not all rides were
    ridden; the descriptors; each constraint (met at 0 or below) and the sum of those violated; the
    searched parameters. Units end the names; `worst_ride` is the ride nearest to a nose-down.
    """
    history = results.history
    table = {
        "number": np.arange(len(results)),
        "generation": results.generations,
        "picks": [";".join(results.pick_names(number)) for number in range(len(results))],
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
    return pd.DataFrame(table)


def front_table(results: Results) -> pd.DataFrame:
    """Return the candidates on the front, in number order; empty when none is feasible."""
    table = candidates_table(results)
    return table[table["on_front"]].reset_index(drop=True)


def rides_table(study: Study, rides: np.ndarray) -> pd.DataFrame:
    """Return what one profile did on every ride of a study, one row each.

    Parameters
    ----------
    study : Study
    rides : (ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`.

    Returns
    -------
    DataFrame
        The ride's name, its metrics, and in words how it ended; None where it was not ridden.
    """
    columns = dict(zip(RIDE_COLUMNS, rides.astype(np.float64).T, strict=True))
    codes = columns.pop("outcome")
    return pd.DataFrame(
        {
            "ride": [ride.name for ride in study.rides],
            **columns,
            "ended": [None if np.isnan(code) else Outcome(int(code)).message for code in codes],
        }
    )


def scores_table(names: Sequence[str], objectives: Floats, constraints: Floats) -> pd.DataFrame:
    """Return what profiles score over the rides of a study, one row each.

    Parameters
    ----------
    names : sequence of str
        What to call each profile.
    objectives : (profile, objective) float64
    constraints : (profile, constraint) float64

    Returns
    -------
    DataFrame
        The name, whether every constraint is met, the objectives, and each constraint, met at 0 or
        below.
    """
    return pd.DataFrame(
        {
            "profile": list(names),
            "feasible": feasible(constraints),
            **dict(zip(OBJECTIVES, objectives.T, strict=True)),
            **dict(zip(CONSTRAINT_COLUMNS, constraints.T, strict=True)),
        }
    )


def trace_table(ridden: Trace) -> pd.DataFrame:
    """Return the signals of one ride, one row each sample until the ride ended."""
    signals = {
        field.name: getattr(ridden, field.name)
        for field in dataclasses.fields(ridden)
        if field.name != "outcome"
    }
    return pd.DataFrame(signals).dropna(ignore_index=True)


def csv_text(table: pd.DataFrame) -> str:
    """Return a table as CSV in which a spreadsheet takes no text for a formula.

    A text that begins as a formula does gets an apostrophe before it; numbers stay as they are.
    """
    texts = table.select_dtypes(exclude=["number", "bool"])
    safe = table.assign(**{str(name): texts[name].map(_no_formula) for name in texts})
    return safe.to_csv(index=False, lineterminator="\n")


def _no_formula(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


def write_tables(results: Results) -> list[Path]:
    """Write all candidates and the front as CSV and Parquet, each file whole.

    Returns
    -------
    list of Path
        The files, in the study's results folder.

    Raises
    ------
    UserInputError
        A file can not be written.
    """
    folder = results.study.folder / RESULTS_FOLDER
    written = []
    for name, table in (("candidates", candidates_table(results)), ("front", front_table(results))):
        parquet = io.BytesIO()
        table.to_parquet(parquet, index=False)
        for suffix, content in (
            (".csv", csv_text(table).encode()),
            (".parquet", parquet.getvalue()),
        ):
            path = folder / f"{name}{suffix}"
            write_whole(path, content)
            written.append(path)
    return written


def _descriptors(results: Results) -> dict[str, np.ndarray]:
    columns = dict(zip(DESCRIPTOR_NAMES, results.descriptors.T, strict=True))
    ride_names = np.array([ride.name for ride in results.study.rides])
    columns["worst_ride"] = ride_names[columns["worst_ride"].astype(int)]
    columns["rides_ended"] = columns["rides_ended"].astype(int)
    return columns
