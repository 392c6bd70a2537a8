"""What a search found: picks, the front after fresh noise, and what was rejected early."""

import numpy as np
import pandas as pd
from rich.console import Console

from objectives import OBJECTIVES
from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.front_so_far import found_latest
from optimizer.analysis.results import Results, nearest_misses
from optimizer.base.messages import signed_percent
from optimizer.cli.console import print_table
from optimizer.cli.output.front import print_comparison_note, print_pinned_ends
from optimizer.execution.early_rejection import not_ridden
from optimizer.execution.evaluate import ride_durations
from optimizer.search.evaluation import BASELINE

_NAMED_RIDES = 4


def print_picks(out: Console, results: Results) -> None:
    """Print the named picks beside the baseline, or the nearest misses."""
    if results.picks:
        out.print(f"Front of {int(results.on_front.sum())} among {len(results)} candidates:")
    else:
        out.print(
            f"None of the {len(results)} candidates meets every constraint."
            " Nearest, by the sum of what is violated:"
        )
    print_table(out, picks_table(results))
    print_comparison_note(out, results)


def picks_table(results: Results) -> pd.DataFrame:
    """Return the baseline and the named picks, or the nearest misses, a row each."""
    rows = {"baseline": BASELINE, **results.picks, **nearest_misses(results)}
    numbers = list(rows.values())
    return pd.DataFrame(
        {
            "pick": list(rows),
            "number": numbers,
            **dict(zip(OBJECTIVES, results.history.objectives[numbers].T, strict=True)),
            "weighted_cost_ratio": results.weighted_cost[numbers],
            "violation_ratio": results.violation[numbers],
        }
    )


def print_reevaluation(out: Console, results: Results) -> None:
    """Print what fresh noise and other hard rides did to the front."""
    reevaluated = results.reevaluated.copy()
    reevaluated[BASELINE] = False
    if not reevaluated.any():
        return
    passed = reevaluated & results.feasible
    text = (
        f"Re-evaluation on fresh noise and other hard rides: of {int(reevaluated.sum())} candidates"
        f" {int((reevaluated & ~passed).sum())} failed,"
        f" {int((passed & ~results.on_front).sum())} fell behind,"
        f" {int(results.on_front.sum())} are the front"
    )
    if passed.any():
        before = results.searched.objectives[passed].mean(axis=0)
        after = results.history.objectives[passed].mean(axis=0)
        moved = ", ".join(
            f"{name} {signed_percent(percent)}"
            for name, percent in zip(OBJECTIVES, 100.0 * (after / before - 1.0), strict=True)
        )
        text += f"; change of those that did not fail, on average: {moved}"
    out.print(f"{text}.")


def print_early_rejections(out: Console, results: Results) -> None:
    """Print how many candidates did not ride everything, and what that saved."""
    rejected_early = np.flatnonzero(results.rejected_early)
    n_without_rate = np.count_nonzero(results.without_rate)
    lines = []
    if len(rejected_early):
        # A candidate that is rejected early has ridden the screening rides and no other.
        screening = np.flatnonzero(~not_ridden(results.rides[rejected_early[:1]])[0])
        names = [results.study.rides[place].name for place in screening]
        more = f" and {len(names) - _NAMED_RIDES} more" if len(names) > _NAMED_RIDES else ""
        lines.append(
            f"{len(rejected_early)} of {len(results)} candidates failed on the screening rides"
            f" ({', '.join(names[:_NAMED_RIDES])}{more}) and were rejected early."
        )
    if n_without_rate:
        lines.append(
            f"{n_without_rate} of {len(results)} candidates broke a constraint that needs no hard"
            " ride, and rode none of these."
        )
    if lines:
        saved = f"This saved {100.0 * saved_ratio(results):.1f} % of all riding."
        out.print(" ".join([*lines, saved]))


def saved_ratio(results: Results) -> float:
    """Return the riding time of rides that were left out, as a share of all rides to their ends."""
    duration_s = ride_durations(results.study)
    parts = (results.rides, results.handling, results.hard)
    left_out = np.hstack([not_ridden(part) for part in parts])
    return float((left_out * duration_s).sum(axis=1).mean() / duration_s.sum())


def print_latest_gain(out: Console, results: Results) -> None:
    """Print whether the search still found something, by its latest candidates."""
    gain = found_latest(results)
    if gain is not None:
        out.print(f"In the search {gain}.")


def print_bounds(out: Console, results: Results) -> None:
    """Print which picks, and how much of the front, lie at ends of searched ranges."""
    for name, number in results.picks.items():
        marks = bound_marks(results, number)
        if marks:
            out.print(f"{name} sits at an end of the searched range in {', '.join(marks)}.")
    print_pinned_ends(out, results)
