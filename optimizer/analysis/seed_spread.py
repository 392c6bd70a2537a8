"""How far the results of a study differ between seeds, all in the same units.

A seed decides all chance: the roads, the noise, the hard rides and what the search tries. What
differs between seeds is so the scatter of a study's answers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from objectives import DESCRIPTOR_NAMES, OBJECTIVES
from optimizer.analysis.baseline_cost import Feels, study_cost
from optimizer.analysis.front_so_far import covered_ratio
from optimizer.analysis.parameter_spread import parameter_spread
from optimizer.analysis.results import Results
from optimizer.analysis.tables import csv_text
from optimizer.base.atomic_files import write_all
from optimizer.base.pick_names import PICKS
from optimizer.search.evaluation import BASELINE
from plant.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeedSpread:
    """Tables of a study under several seeds.

    Costs and hypervolumes are in units of the baseline's mean objectives over the seeds.

    Attributes
    ----------
    fronts : DataFrame
        A row for each seed: its folder, numbers of candidates, hypervolume and best cost.
    picks : DataFrame
        A row for each seed and pick, the baseline first: objectives, cost and searched parameters.
    spread : DataFrame
        A row for each pick and number: lowest, mean and highest over the seeds, and the way from
        lowest to highest in % of the mean.
    parameters : DataFrame
        A row for each searched parameter of the pick of least cost; see
        `optimizer.analysis.parameter_spread`. Empty where fewer than two seeds have that pick.
    """

    fronts: pd.DataFrame
    picks: pd.DataFrame
    spread: pd.DataFrame
    parameters: pd.DataFrame

    def __repr__(self) -> str:
        return f"<SeedSpread over the seeds {', '.join(map(str, self.fronts['seed']))}>"

    @property
    def tables(self) -> dict[str, pd.DataFrame]:
        """All tables by name."""
        return {
            "fronts": self.fronts,
            "picks": self.picks,
            "spread": self.spread,
            "parameters": self.parameters,
        }


def seed_spread(results: Sequence[Results]) -> SeedSpread:
    """Return how far the results of a study differ between seeds.

    Parameters
    ----------
    results : sequence of Results
        Of the same study under two or more seeds, each finished.

    Raises
    ------
    UserInputError
        An objective of the baseline is zero, so nothing can be compared with it.
    """
    common: Floats = np.mean([each.baselines[1] for each in results], axis=0)
    fronts = pd.DataFrame([_front_row(each, common) for each in results])
    picks = pd.DataFrame([row for each in results for row in _pick_rows(each, common)])
    return SeedSpread(
        fronts=fronts, picks=picks, spread=_spread(picks), parameters=parameter_spread(results)
    )


def _front_row(results: Results, common: Floats) -> dict[str, object]:
    numbers = np.flatnonzero(results.on_front)
    front = results.history.objectives[numbers]
    cost = _cost(results, front, numbers, common)
    return {
        "seed": results.study.seed,
        "folder": str(results.study.folder),
        "candidates": len(results),
        "feasible_candidates": int(results.feasible.sum()),
        "front_candidates": len(numbers),
        "hypervolume_ratio": covered_ratio(front, common) if len(front) else 0.0,
        "best_cost_ratio": float(cost.min()) if len(front) else np.nan,
    }


def _pick_rows(results: Results, common: Floats) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    history, names = results.history, results.study.space.names
    for name, number in {"baseline": BASELINE, **results.picks}.items():
        objectives = history.objectives[number]
        cost = _cost(results, objectives[np.newaxis], np.array([number]), common)
        rows.append(
            {
                "seed": results.study.seed,
                "pick": name,
                "number": number,
                **dict(zip(OBJECTIVES, objectives.tolist(), strict=True)),
                "weighted_cost_ratio": float(cost[0]),
                **dict(zip(names, history.values[number].tolist(), strict=True)),
            }
        )
    return rows


def _cost(
    results: Results, objectives: Floats, numbers: NDArray[np.intp], common: Floats
) -> Floats:
    feel = results.descriptors[numbers, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    feels = Feels(of=feel, baseline=results.baseline_feel)
    return study_cost(results.study, objectives, baseline=common, feels=feels)


def _spread(picks: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for name in ("baseline", *PICKS):
        of_pick = picks[picks["pick"] == name]
        for column in (*OBJECTIVES, "weighted_cost_ratio"):
            values = of_pick[column]
            if len(values):
                mean = values.mean()
                rows.append(
                    {
                        "pick": name,
                        "of": column,
                        "seeds": len(values),
                        "lowest": values.min(),
                        "mean": mean,
                        "highest": values.max(),
                        "spread_percent": 100.0 * (values.max() - values.min()) / mean,
                    }
                )
    return pd.DataFrame(rows)


def write_spread(spread: SeedSpread, folder: Path) -> list[Path]:
    """Write the tables of a study under several seeds as CSV, each file whole.

    Raises
    ------
    UserInputError
        A file can not be written.
    """
    contents: dict[Path, str | bytes] = {
        folder / f"{name}.csv": csv_text(table) for name, table in spread.tables.items()
    }
    write_all(contents)
    return list(contents)
