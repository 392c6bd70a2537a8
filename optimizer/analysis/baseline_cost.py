"""What candidates are compared with, and their weighted cost."""

import dataclasses

import numpy as np

from objectives import OBJECTIVES, ScoreRules, outcome_codes, score, weighted_cost
from objectives.feel import feel_miss
from objectives.ride_scores import ended_early
from optimizer.base.errors import StudyFileError
from optimizer.study.study import Study
from plant.arrays import Flags, Floats, Indices
from plant.description.profile_array import profile_to_array


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Feels:
    """Pitch per acceleration of candidates and of the baseline, in deg per m/s2.

    Attributes
    ----------
    of : (candidate,) float64
    baseline : float
    """

    of: Floats
    baseline: float

    def taken(self, which: Flags | slice) -> "Feels":
        """Return the feels of some of the candidates, beside the same baseline's."""
        return Feels(of=self.of[which], baseline=self.baseline)


def study_cost(
    study: Study, objectives: Floats, *, baseline: Floats, feels: Feels | None = None
) -> Floats:
    """Return the weighted cost by the study's weights, (candidate,); the baseline's is 1.

    Parameters
    ----------
    study : Study
    objectives : (candidate, objective) float64
    baseline : (objective,) float64
    feels : Feels, optional
        Where the study wants a feel, its miss is weighed beside the objectives, over the
        baseline's miss. Without feels it is left out.

    Raises
    ------
    UserInputError
        An objective of the baseline is zero, or the feel that is weighed is not known of it, so
        nothing can be compared with it.
    """
    for name, value in zip(OBJECTIVES, baseline, strict=True):
        if not value > 0.0:
            raise StudyFileError(
                f"{study.folder / 'study.toml'}: the baseline's {name} is {value:g}, so nothing"
                " can be compared with it; add a course in which it is above 0"
            )
    weights = np.array([study.weights[name] for name in OBJECTIVES])
    if feels is None or study.wanted_feel is None or not study.feel_weight:
        return weighted_cost(objectives, baseline, weights)
    if np.isnan(feels.baseline):
        raise StudyFileError(
            f"{study.folder / 'study.toml'}: objectives.feel: the baseline's own feel could not be"
            " measured, so no other can be weighed against it; take objectives.feel out"
        )
    own_miss, base_miss = (
        feel_miss(np.atleast_1d(np.asarray(each)), study.wanted_feel)
        for each in (feels.of, feels.baseline)
    )
    return weighted_cost(
        np.column_stack([objectives, own_miss]),
        np.append(baseline, base_miss),
        np.append(weights, study.feel_weight),
    )


def compared_baseline(study: Study, fresh: Floats, searched: Floats, rules: ScoreRules) -> Floats:
    """Return the objectives of the baseline with which re-evaluated candidates are compared.

    They are those on the fresh noise, which candidates and baseline share. But a lost ride costs
    more than any that is ridden, and candidates would seem better by it: a ride of the study that
    the baseline loses on fresh noise alone counts as it was ridden in the search.

    Parameters
    ----------
    study : Study
    fresh, searched : (ride, column) float64
        What the baseline rode in the re-evaluation and in the search.
    rules : ScoreRules

    Returns
    -------
    (objective,) float64
    """
    columns = fresh.copy()
    only_here = lost_on_fresh_noise(fresh, searched, n_rides=len(rules.ride_weight))
    columns[only_here] = searched[only_here]
    baseline = profile_to_array(study.baseline)
    objectives: Floats = score(columns[np.newaxis], baseline[np.newaxis], rules).objectives[0]
    return objectives


def lost_on_fresh_noise(fresh: Floats, searched: Floats, *, n_rides: int) -> Indices:
    """Return the places of the study's rides that end early on fresh noise alone, (place,).

    Parameters
    ----------
    fresh, searched : (ride, column) float64
        What a profile rode in the re-evaluation and in the search.
    n_rides : int
        So many of them are the study's own. A hard ride that is lost is counted, not fined.
    """
    lost, lost_before = ended_early(outcome_codes(np.stack([fresh, searched])[:, :n_rides]))
    return np.flatnonzero(lost & ~lost_before)
