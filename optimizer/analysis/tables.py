"""Candidates as tables, in memory and as CSV and Parquet files."""

import dataclasses
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from objectives import OBJECTIVES
from optimizer.analysis.candidate_columns import (
    CONSTRAINT_COLUMNS,
    candidate_columns,
    front_columns,
)
from optimizer.analysis.results import Results
from optimizer.analysis.rides_columns import rides_columns
from optimizer.base.atomic_files import write_whole
from optimizer.search.pareto import feasible
from optimizer.study.paths import RESULTS_FOLDER
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.kernel.trace import Trace

_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # common practice, as spreadsheets read a cell


def candidates_table(results: Results) -> pd.DataFrame:
    """Return every finished candidate, one row each in number order.

    The columns are those of `optimizer.analysis.candidate_columns.candidate_columns`.
    """
    return pd.DataFrame(candidate_columns(results))


def front_table(results: Results) -> pd.DataFrame:
    """Return the candidates on the front, in number order; empty when none is feasible."""
    return pd.DataFrame(front_columns(results))


def rides_table(study: Study, rides: Floats) -> pd.DataFrame:
    """Return what one profile did on every ride of a study, one row each.

    The columns are those of `optimizer.analysis.rides_columns.rides_columns`.
    """
    return pd.DataFrame(rides_columns(study, rides))


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
