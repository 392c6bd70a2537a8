"""Which parameters matter, and what each does around a candidate: sentences, tables, JSON."""

from collections.abc import Mapping
from typing import TypeAlias

import pandas as pd
from rich.console import Console

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.results import Results
from optimizer.analysis.sensitivity import Sensitivity, most_important
from optimizer.analysis.sensitivity_text import bound_advice, sentence
from optimizer.cli.console import print_table

Shares: TypeAlias = Mapping[str, Mapping[str, float]]  # objective, parameter, importance

_SHOWN = ("parameter", "value", "lowered", "lowered_cost_ratio", "raised", "raised_cost_ratio")


def bound_advices(results: Results, number: int, found: Sensitivity) -> dict[str, str]:
    """Return a sentence for each parameter of a candidate at an end of its searched range."""
    space = results.study.space
    ends = dict(zip(space.names, zip(space.low, space.high, strict=True), strict=True))
    return {
        name: bound_advice(found, name, low=ends[name][0], high=ends[name][1])
        for name in bound_marks(results, number)
    }


def explanation_facts(
    number: int, found: Sensitivity, *, shares: Shares, advice: Mapping[str, str]
) -> dict[str, object]:
    """Return all that is known of what moves a candidate, for JSON."""
    return {
        "number": number,
        "sentences": _sentences(found),
        "importance": shares,
        "around": around_table(found).to_dict(orient="records"),
        "parameters_at_bounds": list(advice),
        "bound_advice": advice,
    }


def print_explanation(
    out: Console,
    number: int,
    found: Sensitivity,
    *,
    shares: Shares,
    advice: Mapping[str, str],
) -> None:
    """Print what moves a candidate most, in sentences and as a table.

    Parameters
    ----------
    out : Console
    number : int
        Of the candidate.
    found : Sensitivity
    shares : mapping of str to mapping of str to float
        Importance of each parameter for each objective; none where too few are feasible.
    advice : mapping of str to str
        See `bound_advices`.
    """
    out.print(f"What moves candidate {number} most:")
    for line in _sentences(found):
        out.print(f"- {line}")
    for objective, by_name in shares.items():
        if not by_name:
            out.print(f"Too few candidates are feasible to say what {objective} depends on.")
            continue
        first = ", ".join(
            f"{name} {100 * share:.0f} %" for name, share in list(by_name.items())[:5]
        )
        out.print(f"Over all feasible candidates, {objective} depends on {first}.")
    for line in advice.values():
        out.print(line)
    out.print(f"\nEach parameter moved by itself; unmoved the weighted cost is {found.cost:.4g}:")
    print_table(out, around_table(found)[[*_SHOWN]])


def importance_table(shares: Shares) -> pd.DataFrame:
    """Return a row for each objective and parameter; none where too few candidates are feasible."""
    rows = [
        (objective, name, share)
        for objective, by_name in shares.items()
        for name, share in by_name.items()
    ]
    return pd.DataFrame(rows, columns=["objective", "parameter", "importance_ratio"])


def around_table(found: Sensitivity) -> pd.DataFrame:
    """Return a row for each parameter, the one that moves the weighted cost most first."""
    order = most_important(found, limit=len(found.names))
    table = {
        "parameter": [found.names[place] for place in order],
        "value": found.here[order],
        **dict(zip(OBJECTIVES, found.objectives.tolist(), strict=True)),
        "cost_ratio": found.cost,
    }
    for side, word in enumerate(("lowered", "raised")):
        table[word] = found.moved[side, order]
        table[f"{word}_cost_ratio"] = found.moved_cost[side, order]
        for column, objective in enumerate(OBJECTIVES):
            table[f"{word}_{objective}"] = found.moved_objectives[side, order, column]
        table[f"{word}_meets"] = found.meets[side, order]
        table[f"{word}_fails"] = [_failed(found, side, place) for place in order]
    return pd.DataFrame(table)


def _sentences(found: Sensitivity) -> list[str]:
    return [sentence(found, place) for place in most_important(found)]


def _failed(found: Sensitivity, side: int, place: int) -> str:
    """Return the constraints that a moved profile fails, as a list parted by semicolons."""
    fails = found.moved_constraints[side, place] > 0.0
    return ";".join(name for name, failed in zip(CONSTRAINT_NAMES, fails, strict=True) if failed)
