"""Which parameters matter over all candidates, and what each does around one profile."""

import dataclasses
from collections.abc import Mapping
from typing import TypeAlias

import pandas as pd

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.beyond_ends import beyond_ends
from optimizer.analysis.candidate import at_ends, candidate_profile
from optimizer.analysis.pinned_ends import pinned_ends
from optimizer.analysis.profile_costs import candidate_yardstick, yardsticks
from optimizer.analysis.results import Results
from optimizer.analysis.sensitivity import Sensitivity, most_important, sensitivity
from optimizer.analysis.sensitivity_text import bound_advice, sentence
from optimizer.base.progress import UNWATCHED, Stages
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.search.space import Space
from optimizer.study.study import Study
from plant.arrays import Floats

_NEIGHBOURS = "riding the neighbours"

Shares: TypeAlias = Mapping[str, Mapping[str, float]]  # objective, parameter, importance


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Explanation:
    """What moves a profile.

    Attributes
    ----------
    called : str
        What the profile is called.
    number : int or None
        Of the candidate; None where the profile is none.
    sensitivity : Sensitivity
        One-at-a-time moves around it, as arrays.
    shares : mapping of objective to mapping of parameter to float
        Importance over all feasible candidates, adding up to 1 for each objective; empty where too
        few candidates are feasible. Without objectives where nothing was searched yet.
    bound_advice : mapping of parameter to str
        A sentence for each parameter at an end of its searched range, or outside it.
    front_ends : mapping of parameter to str
        What lies beyond each end at which much of the whole front lies, in sentences.
    """

    called: str
    number: int | None
    sensitivity: Sensitivity
    shares: Shares
    bound_advice: Mapping[str, str]
    front_ends: Mapping[str, str]

    def __repr__(self) -> str:
        return f"<Explanation of {self.called}: {'; '.join(self.sentences)}>"

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


def explained_candidate(
    results: Results, number: int, *, n_jobs: int = 1, stages: Stages = UNWATCHED
) -> Explanation:
    """Return what moves a candidate, on the noise that its numbers come from.

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
    stages.begin(_NEIGHBOURS)
    found = sensitivity(
        candidate_yardstick(results, number), candidate_profile(results, number), n_jobs=n_jobs
    )
    return _explained(
        results.study.space,
        found,
        results,
        called=f"candidate {number}",
        number=number,
        n_jobs=n_jobs,
        stages=stages,
    )


def explained_profile(
    study: Study,
    profile: Floats,
    *,
    called: str,
    results: Results | None = None,
    n_jobs: int = 1,
    stages: Stages = UNWATCHED,
) -> Explanation:
    """Return what moves a profile from anywhere, on fresh noise.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    called : str
        What to call it.
    results : Results, optional
        Of the study's search; without it nothing is said of other candidates.
    n_jobs : int
        Threads; the outcome does not depend on it.
    stages : Stages
        Receives what is done.
    """
    study = with_hard_rides(study, n_jobs=n_jobs, stages=stages)
    stages.begin(_NEIGHBOURS)
    found = sensitivity(yardsticks(study, n_jobs=n_jobs)[1], profile, n_jobs=n_jobs)
    return _explained(
        study.space, found, results, called=called, number=None, n_jobs=n_jobs, stages=stages
    )


def _explained(
    space: Space,
    found: Sensitivity,
    results: Results | None,
    *,
    called: str,
    number: int | None,
    n_jobs: int,
    stages: Stages,
) -> Explanation:
    front_ends: Mapping[str, str] = {}
    shares: Shares = {}
    if results is not None:
        stages.begin("riding beyond the ends at which the front lies")
        front_ends = _front_ends(results, n_jobs=n_jobs)
        stages.begin("ranking parameters over all candidates")
        # It takes longer to load than all else that draws figures, explained or not.
        from optimizer.analysis.importance import importances  # noqa: PLC0415

        shares = importances(space, results.searched)
    return Explanation(
        called=called,
        number=number,
        sensitivity=found,
        shares=shares,
        bound_advice=_advice_at_ends(space, found),
        front_ends=front_ends,
    )


def _front_ends(results: Results, *, n_jobs: int) -> dict[str, str]:
    """Return what lies beyond each end at which much of the front lies, by parameter."""
    pinned = pinned_ends(results)
    beyond = {each.pinned: each.sentence for each in beyond_ends(results, pinned, n_jobs=n_jobs)}
    return {
        each.name: beyond.get(
            each, f"{each.sentence}. It can go no further than that, so keep the end."
        )
        for each in pinned
    }


def _advice_at_ends(space: Space, found: Sensitivity) -> dict[str, str]:
    """Return what to do about parameters at an end of their searched range, or outside it."""
    ends = dict(zip(space.names, zip(space.low, space.high, strict=True), strict=True))
    here = dict(zip(space.names, found.here.tolist(), strict=True))
    return {
        name: bound_advice(found, name, low=ends[name][0], high=ends[name][1])
        if ends[name][0] <= here[name] <= ends[name][1]
        else f"{name} is {here[name]:g}, outside its searched range of {ends[name][0]:g} to"
        f" {ends[name][1]:g}."
        for name in at_ends(space, found.here)
    }


def _failed(found: Sensitivity, side: int, place: int) -> str:
    """Return the constraints that a moved profile fails, as a list parted by semicolons."""
    fails = found.moved_constraints[side, place] > 0.0
    return ";".join(name for name, failed in zip(CONSTRAINT_NAMES, fails, strict=True) if failed)
