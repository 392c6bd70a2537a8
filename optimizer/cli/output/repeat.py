"""How far the results of a study differ between seeds: tables, and what they mean."""

from pathlib import Path
from typing import Any

from rich.console import Console

from optimizer.analysis.parameter_spread import (
    CHANCE,
    DETERMINED,
    FREE,
    FREE_CHANCE,
    JUDGED,
    NARROW,
    widest,
    within,
)
from optimizer.analysis.seed_spread import SeedSpread
from optimizer.cli.console import print_table


def spread_facts(spread: SeedSpread, written: list[Path]) -> dict[str, Any]:
    """Return every table of a study under several seeds, for JSON."""
    facts: dict[str, Any] = {
        name: table.to_dict(orient="records") for name, table in spread.tables.items()
    }
    return facts | {"files": [str(path) for path in written]}


def print_spread(out: Console, spread: SeedSpread) -> None:
    """Print fronts, picks and parameters over the seeds, and by what rule they are judged."""
    out.print(
        "\nFronts by seed; hypervolume and cost in units of the baseline's mean over the seeds:"
    )
    print_table(out, spread.fronts.drop(columns="folder"))
    out.print(
        "\nPicks over the seeds; the baseline, always the same, differs by roads and noise alone:"
    )
    print_table(out, spread.spread)
    if not len(spread.parameters):
        out.print(
            "\nFewer than two seeds have a candidate that meets every constraint, so nothing can be"
            " said of parameters; ride more candidates."
        )
        return
    n_seeds = int((spread.picks["pick"] == JUDGED).sum())
    out.print(f"\nParameters of {JUDGED}; spreads are in % of the searched range:")
    print_table(out, spread.parameters)
    for word in (DETERMINED, FREE):
        names = spread.parameters["parameter"][spread.parameters["judged"] == word]
        if len(names):
            out.print(f"{word.capitalize()}: {', '.join(names)}.")
    out.print(_rule(n_seeds, len(spread.parameters)))


def _rule(n_seeds: int, n_parameters: int) -> str:
    """Return by what rule parameters are judged, in words."""
    narrow = 100.0 * min(widest(CHANCE, n_seeds), NARROW)
    wide = 100.0 * widest(FREE_CHANCE, n_seeds)
    chance = min(CHANCE, within(NARROW, n_seeds))
    n_chance = chance * n_parameters
    return (
        f"Determined: the {n_seeds} seeds differ by {narrow:.1f} % of the range at most. Values"
        f" drawn anywhere in it do so in {100.0 * chance:.2g} % of cases, {n_chance:.1f} of"
        f" these {n_parameters} parameters. Free: they differ by {wide:.0f} % or more, as drawn"
        " values do in every second case. More seeds tell more apart."
    )
