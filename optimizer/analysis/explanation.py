"""Which parameters matter over all candidates, and what each does around one of them."""

import dataclasses
from collections.abc import Mapping
from typing import TypeAlias

import pandas as pd

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.importance import importances
from optimizer.analysis.pinned_ends import beyond_ends, pinned_ends
from optimizer.analysis.results import Results
from optimizer.analysis.sensitivity import Sensitivity, most_important, sensitivity
from optimizer.analysis.sensitivity_text import bound_advice, sentence
from optimizer.base.progress import UNWATCHED, Stages

Shares: TypeAlias = Mapping[str, Mapping[str, float]]  # objective, parameter, importance


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Explanation:
    """What moves a candidate.

    Attributes
    ----------
    number : int
        Of the candidate.
    sensitivity : Sensitivity
        One-at-a-time moves around it, as arrays.
    shares : mapping of objective to mapping of parameter to float
        Importance over all feasible candidates, adding up to 1 for each objective; empty where too
        few candidates are feasible.
    bound_advice : mapping of parameter to str
        A sentence for each parameter at an end of its searched range.
    front_ends : mapping of parameter to str
        What lies beyond each end at which much of the whole front lies, in sentences.
    """

    number: int
    sensitivity: Sensitivity
    shares: Shares
    bound_advice: Mapping[str, str]
    front_ends: Mapping[str, str]

    def __repr__(self) -> str:
        return f"<Explanation of candidate {self.number}: {'; '.join(self.sentences)}>"

    @property
    def sentences(self) -> list[str]:
        """What the parameters do that move the weighted cost most, the first most."""
        found = self.sensitivity
        return [sentence(found, place) for place in most_important(found)]

    @property
    def importance(self) -> pd.DataFrame:
        """A row for each objective and parameter; none where too few candidates are feasible."""
        rows = [
            (objective, name, share)
            for objective, by_name in self.shares.items()
            for name, share in by_name.items()
        ]
        return pd.DataFrame(rows, columns=["objective", "parameter", "importance_ratio"])

    @property
    def around(self) -> pd.DataFrame:
        """A row for each parameter, the one that moves the weighted cost most first."""
        found = self.sensitivity
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


def explained(
    results: Results, number: int, *, n_jobs: int = 1, stages: Stages = UNWATCHED
) -> Explanation:
    """Return what moves a candidate, after riding its neighbours.

    Parameters
    ----------
    results : Results
    number : int
        Of the candidate.
    n_jobs : int
        Threads; the outcome does not depend on it.
    stages : Stages
        Receives what is done.
    """
    space = results.study.space
    stages.begin("riding the neighbours")
    found = sensitivity(results, number, n_jobs=n_jobs)
    stages.begin("riding beyond the ends at which the front lies")
    pinned = pinned_ends(results)
    beyond = {each.pinned: each.sentence for each in beyond_ends(results, pinned, n_jobs=n_jobs)}
    stages.begin("ranking parameters over all candidates")
    ends = dict(zip(space.names, zip(space.low, space.high, strict=True), strict=True))
    return Explanation(
        number=number,
        sensitivity=found,
        shares=importances(space, results.searched),
        bound_advice={
            name: bound_advice(found, name, low=ends[name][0], high=ends[name][1])
            for name in bound_marks(results, number)
        },
        front_ends={
            each.name: beyond.get(
                each, f"{each.sentence}. It can go no further than that, so keep the end."
            )
            for each in pinned
        },
    )


def _failed(found: Sensitivity, side: int, place: int) -> str:
    """Return the constraints that a moved profile fails, as a list parted by semicolons."""
    fails = found.moved_constraints[side, place] > 0.0
    return ";".join(name for name, failed in zip(CONSTRAINT_NAMES, fails, strict=True) if failed)
