"""Tables of a comparison of searches: medians and spreads over seeds, places, and own cost."""

from collections.abc import Callable, Iterable, Mapping
from typing import TypeAlias

import moocore
import numpy as np
import pandas as pd

from plant.arrays import Floats
from tests.benchmarks.search_problems import Problem
from tests.benchmarks.search_runs import Run

Found: TypeAlias = Callable[[Run, int], Floats]


def merged_front(runs: Iterable[Run], found_by: Found) -> Floats:
    """Return the front of everything feasible that any run found, (candidate, objective)."""
    found = np.vstack([found_by(run, len(run.objectives)) for run in runs])
    front: Floats = moocore.filter_dominated(found) if len(found) else found
    return front


def table(
    problem: Problem,
    runs: Mapping[tuple[str, str, int], Run],
    budgets: Iterable[int],
    *,
    found_by: Found = Run.found,
    measure: str | None = None,
) -> pd.DataFrame:
    """Return one row for each method, start and budget that at least one run reached.

    Parameters
    ----------
    problem : Problem
    runs : mapping of (method, start, seed) to Run
    budgets : iterable of int
        Numbers of candidates.
    found_by : callable
        From a run and a number of its first candidates to what they found that is feasible,
        (candidate, objective).
    measure : str, optional
        What is measured, if not the problem's own measure.

    Returns
    -------
    DataFrame
        `place` counts the methods of the same start and budget with a better median, plus one;
        `ties_first` says whether the spread over the seeds reaches the best median.
    """
    if not runs:
        return pd.DataFrame()
    merged = merged_front(runs.values(), found_by)
    rows = [
        _row(problem, seeds, merged=merged, found_by=found_by, n_candidates=budget)
        | {"method": method, "start": start, "measure": measure or problem.measure}
        for budget in budgets
        for (method, start), seeds in _by_method(runs, at_least=budget).items()
    ]
    found = pd.DataFrame(rows)
    if not len(found):
        return found
    groups = found.groupby(["start", "candidates"])["median"]
    up = problem.higher_is_better
    found["place"] = groups.rank(method="min", ascending=not up).astype(int)
    best = groups.transform("max" if up else "min")
    found["ties_first"] = found["high"] >= best if up else found["low"] <= best
    first = ["problem", "start", "candidates", "method"]
    return found[[*first, *found.columns.difference(first, sort=False)]]


def _by_method(
    runs: Mapping[tuple[str, str, int], Run], *, at_least: int
) -> dict[tuple[str, str], list[Run]]:
    grouped: dict[tuple[str, str], list[Run]] = {}
    for (method, start, _), run in sorted(runs.items()):
        if len(run.objectives) >= at_least:
            grouped.setdefault((method, start), []).append(run)
    return grouped


def _row(
    problem: Problem,
    seeds: list[Run],
    *,
    merged: Floats,
    found_by: Found,
    n_candidates: int,
) -> dict[str, object]:
    reached = [problem.quality(found_by(run, n_candidates), merged) for run in seeds]
    return {
        "problem": problem.name,
        "candidates": n_candidates,
        "seeds": len(seeds),
        "median": float(np.median(reached)),
        "low": min(reached),
        "high": max(reached),
        "own_ms": float(np.median([run.own_ms(n_candidates) for run in seeds])),
    }


def printed(found: pd.DataFrame) -> str:
    """Return the tables as text: a method a line, a budget a column, and its own cost."""
    lines: list[str] = []
    groups = found.groupby(["problem", "start", "measure"], sort=False)
    for (problem, start, measure), part in groups:
        lines.append(f"\n{problem}, {start} start: {measure}")
        budgets = sorted(part["candidates"].unique())
        lines.append(f"{'median (lowest to highest)':26s}" + _cells(budgets, "{:>26}"))
        for method, own in part.groupby("method", sort=False):
            cells = {row["candidates"]: _cell(row) for _, row in own.iterrows()}
            lines.append(f"{method:26s}" + _cells([cells.get(each, "") for each in budgets]))
            costs = {row["candidates"]: f"{row['own_ms']:.2f} ms" for _, row in own.iterrows()}
            lines.append(f"{'  own cost a candidate':26s}"
                         + _cells([costs.get(each, "") for each in budgets]))  # fmt: skip
    return "\n".join(lines) + "\n"


def _cells(values: Iterable[object], form: str = "{:>26}") -> str:
    return "".join(form.format(value) for value in values)


def _cell(row: pd.Series) -> str:
    mark = "*" if row["place"] == 1 else "=" if row["ties_first"] else " "
    return f"{row['median']:.4g} ({row['low']:.4g}-{row['high']:.4g}){mark}"
