"""Whole profiles ridden over a study on one noise, with their weighted costs."""

import dataclasses
from collections.abc import Sequence

import numpy as np

from objectives import DESCRIPTOR_NAMES, ScoreRules, Scores
from optimizer.analysis.baseline_cost import Feels, compared_baseline, study_cost
from optimizer.analysis.candidate import study_as_scored
from optimizer.analysis.candidate_numbers import candidate_numbers
from optimizer.analysis.constraint_facts import ConstraintFact, constraint_facts
from optimizer.analysis.results import Results
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array

_FEEL = DESCRIPTOR_NAMES.index("feel_deg_per_mps2")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Yardstick:
    """One noise of a study, and what the profiles that ride on it are compared with.

    Attributes
    ----------
    study : Study
        On that noise, with its hard rides.
    rules : ScoreRules
        Of its rides.
    compared_with : (objective,) float64
        Objectives of the baseline, which costs 1.
    baseline_feel : float
        Its pitch per acceleration, in deg per m/s2.
    """

    study: Study
    rules: ScoreRules
    compared_with: Floats
    baseline_feel: float

    def cost(self, objectives: Floats, feel: Floats) -> Floats:
        """Return the weighted cost of profiles, (profile,).

        Parameters
        ----------
        objectives : (profile, objective) float64
        feel : (profile,) float64
            Pitch per acceleration, in deg per m/s2.
        """
        feels = Feels(of=feel, baseline=self.baseline_feel)
        return study_cost(self.study, objectives, baseline=self.compared_with, feels=feels)

    def on_noise_of(self, study: Study) -> "Yardstick":
        """Return the same comparison on the noise of another study, in the same units."""
        return dataclasses.replace(self, study=study, rules=rules_of(study))


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScoredProfiles:
    """Profiles as ridden on one noise.

    Attributes
    ----------
    yardstick : Yardstick
    profiles : (profile, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    scores : Scores
    rides : (profile, ride, column) float64
        As `optimizer.execution.evaluate.ride_portfolio` returns them.
    cost : (profile,) float64
        Weighted.
    """

    yardstick: Yardstick
    profiles: Floats
    scores: Scores
    rides: Floats
    cost: Floats

    @property
    def feel(self) -> Floats:
        """Pitch per acceleration of each profile, (profile,), in deg per m/s2."""
        feel: Floats = self.scores.descriptors[:, _FEEL]
        return feel

    def facts(self, place: int) -> list[ConstraintFact]:
        """Return what each constraint of a profile measured, in words."""
        rules = self.yardstick.rules
        own, handling, _ = rules.parts(self.rides[place : place + 1])
        return constraint_facts(
            self.yardstick.study,
            self.profiles[place],
            own[0],
            handling[0],
            constraints=self.scores.constraints[place],
            rules=rules,
        )


def scored_profiles(
    yardstick: Yardstick, profiles: Floats | Sequence[Floats], *, n_jobs: int = 1
) -> ScoredProfiles:
    """Return profiles after riding all rides of a yardstick's study.

    Parameters
    ----------
    yardstick : Yardstick
    profiles : (profile, parameter) float64
    n_jobs : int
        Threads; the outcome does not depend on it.
    """
    rows = np.asarray(profiles)
    study = yardstick.study
    scores, rides = ride_portfolio(study, rows, rules=yardstick.rules, n_jobs=n_jobs)
    cost = yardstick.cost(scores.objectives, scores.descriptors[:, _FEEL])
    return ScoredProfiles(yardstick=yardstick, profiles=rows, scores=scores, rides=rides, cost=cost)


def candidate_yardstick(results: Results, number: int) -> Yardstick:
    """Return the noise that a candidate's numbers come from, and what it is compared with there."""
    study = study_as_scored(results, number)
    return Yardstick(
        study=study,
        rules=rules_of(study),
        compared_with=candidate_numbers(results, number).compared_with,
        baseline_feel=results.baseline_feel,
    )


def yardsticks(study: Study, *, n_jobs: int = 1) -> tuple[Yardstick, Yardstick]:
    """Return the noise of the search and the fresh noise, after riding the baseline on both.

    A study needs no search for it; where it has one, its candidates are compared with the same
    numbers.

    Parameters
    ----------
    study : Study
    n_jobs : int
        Threads; the outcome does not depend on it.

    Raises
    ------
    UserInputError
        The store can not be read.
    """
    searched = with_hard_rides(study, n_jobs=n_jobs)
    fresh = on_fresh_noise(searched)
    baseline = profile_to_array(study.baseline)[np.newaxis]
    rules = [rules_of(each) for each in (searched, fresh)]
    (scores, rides), (_, fresh_rides) = (
        ride_portfolio(each, baseline, rules=own, n_jobs=n_jobs)
        for each, own in zip((searched, fresh), rules, strict=True)
    )
    compared = (
        scores.objectives[0],
        compared_baseline(study, fresh_rides[0], rides[0], rules[1]),
    )
    first, second = (
        Yardstick(
            study=each,
            rules=own,
            compared_with=objectives,
            # The rides that measure handling are quiet: a feel is the same on any noise.
            baseline_feel=float(scores.descriptors[0, _FEEL]),
        )
        for each, own, objectives in zip((searched, fresh), rules, compared, strict=True)
    )
    return first, second
