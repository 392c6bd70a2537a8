"""The numbers of a candidate, which every table, page and file takes from here.

A re-evaluated candidate has those on fresh noise, another one those of the search. The baseline
beside it is on the same noise.
"""

import dataclasses

import numpy as np

from objectives import OBJECTIVES
from optimizer.analysis.results import Results
from optimizer.search.evaluation import BASELINE
from plant.arrays import Floats

FRESH_NOISE = "fresh noise"
SEARCH_NOISE = "noise of the search"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CandidateNumbers:
    """What a candidate scores, and the baseline on the same noise.

    Attributes
    ----------
    noise : str
        `FRESH_NOISE` of the re-evaluation, or `SEARCH_NOISE`.
    objectives : (objective,) float64
        In the order of `objectives.OBJECTIVES`.
    weighted_cost : float
        Of the candidate, in units of `compared_with`.
    baseline : (objective,) float64
        What the baseline measures.
    compared_with : (objective,) float64
        The same, but for rides that the baseline loses on fresh noise alone: these count as it
        rode them in the search.
    """

    noise: str
    objectives: Floats
    weighted_cost: float
    baseline: Floats
    compared_with: Floats

    @property
    def change_percent(self) -> Floats:
        """By how much the candidate differs from what it is compared with, (objective,)."""
        changed: Floats = 100.0 * (self.objectives / self.compared_with - 1.0)
        return changed


def candidate_numbers(results: Results, number: int) -> CandidateNumbers:
    """Return the numbers of a candidate, with the baseline's beside them."""
    again = bool(results.reevaluated[number])
    return CandidateNumbers(
        noise=FRESH_NOISE if again else SEARCH_NOISE,
        objectives=results.history.objectives[number],
        weighted_cost=float(results.weighted_cost[number]),
        baseline=baseline_objectives(results)[int(again)],
        compared_with=results.baselines[int(again)],
    )


def baseline_objectives(results: Results) -> Floats:
    """Return what the baseline measures in the search and in the re-evaluation, (2, objective)."""
    by_noise = (results.searched, results.history)
    return np.stack([history.objectives[BASELINE] for history in by_noise])


def noise_in_words(results: Results, number: int) -> str:
    """Return on what noise the numbers of a candidate are, as one sentence."""
    if results.reevaluated[number]:
        return "All numbers are those of the re-evaluation, on fresh noise and other hard rides."
    if results.reevaluated.any():
        return (
            "All numbers are those of the search: this candidate was not re-evaluated on fresh"
            " noise. `levelgain compare` rides it there."
        )
    return "All numbers are those of the search: nothing was re-evaluated on fresh noise yet."


def comparison_in_words(results: Results) -> str:
    """Return what candidates are compared with where that is not what the baseline measures.

    Empty where the baseline loses no ride on fresh noise alone.
    """
    if not results.baseline_lost:
        return ""
    rides = ", ".join(results.baseline_lost)
    measured, compared = baseline_objectives(results)[1], results.baselines[1]
    numbers = ", ".join(
        f"{name} {own:.4g}, compared with {other:.4g}"
        for name, own, other in zip(OBJECTIVES, measured, compared, strict=True)
        if own != other
    )
    return (
        f"On fresh noise the baseline loses a ride that it finishes in the search ({rides}), so its"
        f" weighted cost there is {results.weighted_cost[BASELINE]:.3f}. A lost ride must not make"
        f" candidates look better: they are compared with the ride as it was in the search, which"
        f" costs 1 ({numbers})."
    )
