"""What each constraint of a profile measured, what is asked, and what broke it, in words.

All numbers are in the units of a rider or a builder; the constraints' own numbers, scaled for the
search, stand beside them.
"""

import dataclasses
from collections.abc import Sequence

import numpy as np

from objectives import CONSTRAINT_NAMES, ScoreRules
from objectives.constraints import NOT_ASKED
from objectives.score import handling_of
from optimizer.analysis.columns import Columns, texts
from optimizer.analysis.handling_words import handling_words
from optimizer.analysis.kept_facts import Kind, facts
from optimizer.analysis.loop_words import loop_words
from optimizer.analysis.results import Results
from optimizer.analysis.ridden_profile import RiddenProfile
from optimizer.analysis.ride_words import ride_words
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.search.evaluation import BASELINE
from optimizer.study.study import Study
from plant.arrays import Floats


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class ConstraintFact:
    """One constraint of one profile.

    Attributes
    ----------
    name : str
        Of `objectives.CONSTRAINT_NAMES`.
    value : float
        As the search has it; met at 0 or below.
    found, asked : str
        What was measured, with the rides that broke it, and what the study asks.
    """

    name: str
    value: float
    found: str
    asked: str

    @property
    def met(self) -> bool:
        """Whether the constraint is met."""
        return self.value <= 0.0

    @property
    def sentence(self) -> str:
        """What was found and what is asked, as one phrase."""
        return f"{self.found}; asked: {self.asked}"


def constraint_facts(
    study: Study,
    profile: Floats,
    own: Floats,
    handling: Floats,
    *,
    constraints: Floats,
    rules: ScoreRules,
) -> list[ConstraintFact]:
    """Return what each constraint of a profile measured, in the order of `CONSTRAINT_NAMES`.

    Parameters
    ----------
    study : Study
        On the noise of the rides.
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    own, handling : (ride, column) float64
        What the profile did on the study's own rides and on those of handling; NaN where one was
        not ridden.
    constraints : (constraint,) float64
    rules : ScoreRules
        By which they were scored.
    """
    numbers = handling_of(own[np.newaxis], handling[np.newaxis], profile[np.newaxis], rules)[0]
    ridden = RiddenProfile(
        study=study, profile=profile, own=own, handling=handling, numbers=numbers, rules=rules
    )
    words = loop_words(ridden) | ride_words(ridden) | handling_words(ridden)
    words["tolerances"] = _tolerance_words(float(constraints[CONSTRAINT_NAMES.index("tolerances")]))
    return [
        ConstraintFact(name=name, value=float(value), found=words[name][0], asked=words[name][1])
        for name, value in zip(CONSTRAINT_NAMES, constraints, strict=True)
    ]


def _tolerance_words(beyond: float) -> tuple[str, str]:
    """Return what a re-evaluation found with drawn boards and riders, and what is asked."""
    if beyond == NOT_ASKED:
        return "not ridden with other boards and riders", "only of candidates of the front"
    rides = "1 nose-down" if beyond == 1.0 else f"{max(beyond, 0.0):.0f} nose-downs"
    return (
        f"{rides} more than the best tenth of the front, with boards and riders drawn from their"
        " tolerances",
        "none",
    )


def broken(facts: Sequence[ConstraintFact]) -> list[str]:
    """Return what was found and asked of each constraint that is not met."""
    return [fact.sentence for fact in facts if not fact.met]


def facts_of_candidates(results: Results, numbers: Sequence[int]) -> list[list[ConstraintFact]]:
    """Return what each constraint of some candidates measured, on the noise of their numbers."""
    return facts(CONSTRAINTS, results, numbers)


def _found(results: Results, numbers: Sequence[int]) -> list[list[ConstraintFact]]:
    searched = rules_of(results.study, hard=False)
    rows = [BASELINE, *numbers]
    profiles = whole_profiles(results.study, results.history.values[rows])
    base = handling_of(results.rides[:1], results.handling[:1], profiles[:1], searched)[0]
    fresh = dataclasses.replace(
        searched,
        settings=results.study.settings.without_noise_margin(),
        handling=dataclasses.replace(searched.handling, baseline=base),
    )
    return [
        constraint_facts(
            results.study,
            profile,
            results.rides[number],
            results.handling[number],
            constraints=results.history.constraints[number],
            rules=fresh if results.reevaluated[number] else searched,
        )
        for number, profile in zip(numbers, profiles[1:], strict=True)
    ]


CONSTRAINTS = Kind(
    name="constraints",
    find=_found,
    read=lambda kept: [ConstraintFact(**each) for each in kept],
)


def constraints_table(facts: Sequence[ConstraintFact]) -> Columns:
    """Return the constraints of one profile, a row each."""
    return {
        "constraint": texts([fact.name for fact in facts]),
        "met": np.array([fact.met for fact in facts]),
        "found": texts([fact.found for fact in facts]),
        "asked": texts([fact.asked for fact in facts]),
        "value": np.array([fact.value for fact in facts]),
    }
