"""At what speed a profile warns each rider on the level, as simulated."""

import dataclasses
import enum
from typing import Any

import numpy as np

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.kept_facts import Kind, facts
from optimizer.analysis.results import Results
from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.constants import WARNING_PERCEIVED_DEG
from plant.description.course import Course, Manoeuvre, Patch, Road, Start
from plant.kernel.lane_layout import WIDTH
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace, traces

_LEAST_WARNED_S = 1.0  # assumed, as for the faults of a validation: time to slow down
_KMH_PER_MPS = 3.6


class Warned(enum.StrEnum):
    """What became of a rider who speeds up and does not heed a warning."""

    IN_TIME = "warned"
    NEVER = "not warned, and the ride did not end early"
    TOO_LATE = "the ride ended early without a warning in time"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class SpeedUp:
    """How one rider's speeding up on the level came out.

    Attributes
    ----------
    warned : Warned
    speed_mps : float
        Where the rider perceives the warning; the fastest that was simulated where none came;
        where the ride ended if that was too soon after the warning, or without one.
    warned_s : float
        From the perceived warning until the ride ended, early or not; 0 without a warning.
    end_mps : float
        Speed at the end of the ride.
    outcome : Outcome
        How the ride ended.
    """

    warned: Warned
    speed_mps: float
    warned_s: float
    end_mps: float
    outcome: Outcome


def speed_ups(study: Study, profile: Floats) -> dict[str, SpeedUp]:
    """Return how every rider's speeding up on the level comes out, by name.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    """
    [found] = _of_profiles(study, profile[np.newaxis])
    return found


def _of_profiles(study: Study, profiles: Floats) -> list[dict[str, SpeedUp]]:
    """Return the same of several profiles, (profile, parameter), which ride together.

    Each rider speeds up by 0.4 m/s2 towards 12 m/s on the catalogue's asphalt, warned or not.
    """
    course = Course(
        name="speed up",
        title="Speed up on the level",
        road=Road(patches=(Patch(from_m=0.0, surface=catalogue_surface(ASPHALT)),)),
        manoeuvre=Manoeuvre(
            duration_s=30.0,
            start=Start.ROLLING,
            speed_mps=((0.0, 3.0), (1.0, 3.0), (23.5, 12.0)),
        ),
        road_seed=1,
    )
    blocks = [profiles[first : first + WIDTH] for first in range(0, len(profiles), WIDTH)]
    by_rider = {}
    for name, rider in study.riders.items():
        ride = Ride(course=course, rider_name=name, rider=rider, board=study.board, noise_seed=1)
        by_rider[name] = [speed_up_of(one) for block in blocks for one in traces(block, ride)]
    return [
        {name: found[place] for name, found in by_rider.items()} for place in range(len(profiles))
    ]


def candidate_speed_ups(results: Results, number: int) -> dict[str, SpeedUp]:
    """Return how every rider's speeding up on the level comes out with a candidate, by name."""
    return facts(SPEED_UPS, results, [number])[0]


def _read(kept: dict[str, Any]) -> SpeedUp:
    words = {"warned": Warned(kept["warned"]), "outcome": Outcome(kept["outcome"])}
    return SpeedUp(**{**kept, **words})


SPEED_UPS = Kind(
    name="speed_ups",
    find=lambda results, numbers: _of_profiles(
        results.study, np.stack([candidate_profile(results, number) for number in numbers])
    ),
    read=lambda kept: {name: _read(found) for name, found in kept.items()},
)


def speed_up_of(ridden: Trace) -> SpeedUp:
    """Return how a simulated speeding up came out."""
    perceived = np.flatnonzero(ridden.warning_lift_deg >= WARNING_PERCEIVED_DEG)
    last = int(np.flatnonzero(np.isfinite(ridden.speed_mps))[-1])
    early = ridden.outcome is not Outcome.RIDDEN
    warned_s = float(ridden.time_s[last] - ridden.time_s[perceived[0]]) if len(perceived) else 0.0
    end_mps = float(ridden.speed_mps[last])
    if early and warned_s < _LEAST_WARNED_S:
        warned, speed_mps = Warned.TOO_LATE, end_mps
    elif len(perceived):
        warned, speed_mps = Warned.IN_TIME, float(ridden.speed_mps[perceived[0]])
    else:
        warned, speed_mps = Warned.NEVER, float(np.nanmax(ridden.speed_mps))
    return SpeedUp(
        warned=warned,
        speed_mps=speed_mps,
        warned_s=warned_s,
        end_mps=end_mps,
        outcome=ridden.outcome,
    )


def kmh(speed_mps: float) -> str:
    """Return a speed in whole km/h, rounded down: no more than was simulated."""
    return f"{int(max(_KMH_PER_MPS * speed_mps, 0.0))} km/h"


def speed_up_in_words(found: SpeedUp) -> str:
    """Return how a rider's speeding up came out, as a phrase."""
    if found.warned is Warned.NEVER:
        return f"not warned up to the fastest speed that was ridden, {kmh(found.speed_mps)}"
    end = f"at {kmh(found.end_mps)} {found.outcome.message}"
    if found.warned is Warned.TOO_LATE:
        before = (
            f"a warning only {found.warned_s:.1f} s before it" if found.warned_s else "no warning"
        )
        return f"**NO WARNING IN TIME: {end}, with {before}**"
    words = f"warned at {kmh(found.speed_mps)}"
    if found.outcome is Outcome.RIDDEN:
        return words
    return f"{words}; without slowing down, {end}, {found.warned_s:.0f} s later"
