"""One candidate of a study: its whole profile, what it fails, and where it sits at a bound."""

import numpy as np

from objectives import CONSTRAINT_NAMES
from optimizer.analysis.constraint_facts import broken, facts_of_candidates
from optimizer.analysis.results import Results
from optimizer.execution.evaluate import whole_profiles
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.search.space import Space, at_bound
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.kernel.simulate import Ride

_BOUND_TOLERANCE = 1e-3  # share of the searched range
_WORST_RIDES = 3


def candidate_profile(results: Results, number: int) -> Floats:
    """Return a candidate's whole profile, (parameter,), in the order of `PROFILE_NAMES`."""
    profile: Floats = whole_profiles(results.study, results.history.values[number : number + 1])[0]
    return profile


def failed_constraints(constraints: Floats) -> dict[str, float]:
    """Return the constraints that are not met and by how much.

    Parameters
    ----------
    constraints : (constraint,) float64
        Of one candidate, in the order of `objectives.CONSTRAINT_NAMES`.
    """
    return {
        name: float(value)
        for name, value in zip(CONSTRAINT_NAMES, constraints, strict=True)
        if value > 0.0
    }


def failures_of(results: Results, number: int) -> list[str]:
    """Return the constraints that a candidate does not meet, in words, and what is not known."""
    # What a constraint that is met has measured takes longer to find out, and is no failure.
    meets_all = bool((results.history.constraints[number] <= 0.0).all())
    found = [] if meets_all else broken(facts_of_candidates(results, [number])[0])
    unknown = why_not_scored(results, number)
    return [*found, *([unknown] if unknown else [])]


def why_not_scored(results: Results, number: int) -> str:
    """Return in words which objectives of a candidate are not known and why, or nothing."""
    if results.rejected_early[number]:
        return why_rejected_early(results, number)
    if results.without_rate[number]:
        return (
            "nose-down rate not estimated: it breaks a constraint that needs no hard ride, so it"
            " rode none of these"
        )
    return ""


def why_rejected_early(results: Results, number: int) -> str:
    """Return in words why a candidate that was rejected early is not scored."""
    return (
        f"rejected early after {results.rides_ridden[number]} of {len(results.study.rides)} rides:"
        " their early ends break a constraint whatever the others bring, so it is not scored"
    )


def bound_marks(results: Results, number: int) -> list[str]:
    """Return the parameters of a candidate that sit at an end of their searched range."""
    return at_ends(results.study.space, results.history.values[number])


def at_ends(space: Space, values: Floats) -> list[str]:
    """Return the parameters of which a value, (parameter,), sits at an end of its range."""
    at_end = at_bound(space, values[np.newaxis], tolerance=_BOUND_TOLERANCE)[0]
    return [name for name, stuck in zip(space.names, at_end, strict=True) if stuck]


def worst_places(results: Results, number: int) -> list[int]:
    """Return where a candidate's rides nearest to a nose-down stand, the nearest first."""
    risk = results.ride_column("nose_down_risk", number)
    ridden = np.flatnonzero(~np.isnan(risk))
    worst: list[int] = ridden[np.argsort(-risk[ridden], kind="stable")[:_WORST_RIDES]].tolist()
    return worst


def worst_rides(results: Results, number: int) -> list[Ride]:
    """Return a candidate's rides nearest to a nose-down, with their noise, the nearest first."""
    rides = ridden_rides(results, number)
    return [rides[place] for place in worst_places(results, number)]


def ridden_rides(results: Results, number: int) -> tuple[Ride, ...]:
    """Return the rides that a candidate's numbers come from: of its re-evaluation if it has one."""
    return study_as_scored(results, number).rides


def study_as_scored(results: Results, number: int) -> Study:
    """Return the study on the noise that a candidate's numbers come from."""
    return on_fresh_noise(results.study) if results.reevaluated[number] else results.study
