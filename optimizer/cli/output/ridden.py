"""What one profile does on every ride, printed."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
from rich.console import Console

from objectives import OBJECTIVES
from optimizer.analysis.columns import records
from optimizer.analysis.comparison import Comparison
from optimizer.analysis.nose_down_rates import nose_down_rates, objective_in_words
from optimizer.cli.console import print_table
from optimizer.cli.output.results import ride_columns
from plant.kernel.outcomes import Outcome


def hardest(rides: pd.DataFrame) -> str:
    """Return the name of the ride that came nearest to a nose-down."""
    return str(rides.nlargest(1, "nose_down_risk")["ride"].item())


def ridden_facts(rides: pd.DataFrame, *, changes: Sequence[str] | None) -> Any:
    """Return what one profile does on every ride, for JSON, with what is otherwise if asked."""
    rows = records(ride_columns(rides))
    return rows if changes is None else {"changes": list(changes), "rides": rows}


def print_ridden(
    out: Console,
    rides: pd.DataFrame,
    *,
    called: str,
    found: Comparison | None,
    changes: Sequence[str],
) -> None:
    """Print what one profile does on every ride.

    Parameters
    ----------
    out : Console
    rides : DataFrame
        From `optimizer.analysis.tables.rides_table`.
    called : str
        What to call the profile.
    found : Comparison or None
        Its scores; None for rides that the study does not hold.
    changes : sequence of str
        What is otherwise in those.
    """
    print_table(out, ride_columns(rides))
    out.print()
    if found is not None:
        _print_scores(out, found)
        return
    for line in changes:
        out.print(line)
    n_ended = int((rides["ended"] != Outcome.RIDDEN.message).sum())
    how_many = f"{n_ended or 'none'} of {len(rides)}"
    out.print(f"{called}: {how_many} ended early. Nothing is stored.")


def _print_scores(out: Console, found: Comparison) -> None:
    """Print the nose-down rates and the scores of the one profile of a comparison."""
    print_table(out, nose_down_rates(found.study, found.hard[0]))
    out.print(objective_in_words(found.study))
    scores = ", ".join(
        f"{name} {value:.4g}" for name, value in zip(OBJECTIVES, found.objectives[0], strict=True)
    )
    out.print(f"\n{found.names[0]}: {scores}, on the noise of the re-evaluation")
    for failed in found.fails[0]:
        out.print(f"FAILS: {failed}")
