"""What would have prevented nose-downs: the same rides again, with one thing changed at a time."""

import dataclasses
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from optimizer.analysis.front_profiles import FrontProfiles
from optimizer.study.study import Study
from optimizer.validation.changed_rides import CHANGES, SLOWER, Kind, slower
from optimizer.validation.nose_down_rate import Place, rides_at
from plant.arrays import Flags, Floats
from plant.device import Device, lanes_at_once
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, simulate

MOST_RIDDEN = 100  # nose-downs that are ridden again; more take long and say no more
_LEAST_AT_ONCE = 32  # profiles: fewer would leave threads idle over the last rides


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One change, and how many of the nose-downs that were ridden again it prevents."""

    kind: Kind
    name: str
    prevented: int


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Remedies:
    """What became of nose-downs that were ridden again.

    A remedy prevents a nose-down if that ride then ends otherwise. What it does to all the other
    rides is not looked at.

    Attributes
    ----------
    nose_downs, ridden_again : int
        In the riding day, and of those ridden again, at most `MOST_RIDDEN`.
    each : tuple of Remedy
        Picks first, the best of them first.
    n_front : int or None
        Profiles of the front; None without a finished search.
    no_profile : int or None
        Nose-downs that not one of them survives.
    nothing : int
        Nose-downs that no profile and no other remedy prevents; other noise is no remedy.
    """

    nose_downs: int
    ridden_again: int
    each: tuple[Remedy, ...]
    n_front: int | None
    no_profile: int | None
    nothing: int


# A remedy and which rides it brings through, (ride,).
_Saved: TypeAlias = tuple[Kind, str, Flags]


def remedies_of_day(
    study: Study,
    profile: Floats,
    nose_downs: Sequence[Place],
    *,
    front: FrontProfiles | None,
    n_jobs: int = 1,
) -> Remedies | None:
    """Return what prevents the nose-downs of a validation's riding day; None if there are none.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        That rode the day.
    nose_downs : sequence of Place
        Of many, some evenly spread over the day are ridden again.
    front : FrontProfiles or None
    n_jobs : int
        Threads; what is found does not depend on it.
    """
    if not nose_downs:
        return None
    n_ridden = min(len(nose_downs), MOST_RIDDEN)
    spread = np.linspace(0, len(nose_downs) - 1, n_ridden).round().astype(np.int64)
    places = [nose_downs[index] for index in spread.tolist()]
    return dataclasses.replace(
        ride_remedies(
            profile,
            rides_at(study, places),
            rides_at(slower(study), places),
            front=front,
            n_jobs=n_jobs,
            device=study.device,
        ),
        nose_downs=len(nose_downs),
    )


def ride_remedies(
    profile: Floats,
    rides: Sequence[Ride],
    slower_rides: Sequence[Ride],
    *,
    front: FrontProfiles | None,
    n_jobs: int = 1,
    device: Device = "cpu",
) -> Remedies:
    """Return what prevents the nose-downs of some rides.

    Parameters
    ----------
    profile : (parameter,) float64
        Whose nose goes down in each of them.
    rides, slower_rides : sequence of Ride
        Each ride, and the same ridden more slowly where the road asks for care.
    front : FrontProfiles or None
    n_jobs : int
        Threads; what is found does not depend on it.
    device : Device
        What simulates; nothing found depends on it either.
    """
    saved = _by_change(profile, rides, slower_rides, n_jobs=n_jobs, device=device)
    by_front: Flags = np.zeros(len(rides), dtype=np.bool_)
    if front is not None:
        by_pick = _by_pick(front, profile, rides, n_jobs=n_jobs, device=device)
        by_front = _by_any(
            front.profiles, rides, [came for _, _, came in by_pick], n_jobs=n_jobs, device=device
        )
        saved = by_pick + saved
    by_remedy = [came for kind, _, came in saved if kind is not Kind.CHANCE]
    return Remedies(
        nose_downs=len(rides),
        ridden_again=len(rides),
        each=tuple(
            Remedy(kind=kind, name=name, prevented=int(came.sum())) for kind, name, came in saved
        ),
        n_front=None if front is None else len(front.profiles),
        no_profile=None if front is None else int((~by_front).sum()),
        nothing=int((~np.any([by_front, *by_remedy], axis=0)).sum()),
    )


def _survived(profiles: Floats, rides: Sequence[Ride], *, n_jobs: int, device: Device) -> Flags:
    """Return which profiles come through which rides, (candidate, ride)."""
    found = simulate(profiles, rides, n_jobs=n_jobs, keep_roads=False, device=device)
    return np.asarray(found.outcome != Outcome.NOSE_DOWN)


def _by_change(
    profile: Floats,
    rides: Sequence[Ride],
    slower_rides: Sequence[Ride],
    *,
    n_jobs: int,
    device: Device,
) -> list[_Saved]:
    """Return what the same profile survives after each change of board, riding or noise."""
    changed = [change(ride) for _, _, change in CHANGES for ride in rides]
    named = [(kind, name) for kind, name, _ in CHANGES] + [(Kind.RIDING, SLOWER)]
    came = _survived(profile[None, :], [*changed, *slower_rides], n_jobs=n_jobs, device=device)
    by_change = came.reshape(len(named), len(rides))
    return [(kind, name, row) for (kind, name), row in zip(named, by_change, strict=True)]


def _by_pick(
    front: FrontProfiles, profile: Floats, rides: Sequence[Ride], *, n_jobs: int, device: Device
) -> list[_Saved]:
    """Return what each other pick survives, the best first."""
    others = {
        name: row
        for name, row in front.picks.items()
        if not np.array_equal(front.profiles[row], profile)
    }
    if not others:
        return []
    came = _survived(front.profiles[list(others.values())], rides, n_jobs=n_jobs, device=device)
    found: list[_Saved] = [
        (Kind.PROFILE, name, row) for name, row in zip(others, came, strict=True)
    ]
    return sorted(found, key=lambda one: -int(one[2].sum()))


def _by_any(
    profiles: Floats, rides: Sequence[Ride], known: Sequence[Flags], *, n_jobs: int, device: Device
) -> Flags:
    """Return which rides any profile survives, given what some of them are known to."""
    survived: Flags = np.any([np.zeros(len(rides), dtype=np.bool_), *known], axis=0)
    n_at_once = max(_LEAST_AT_ONCE, lanes_at_once(device) // MOST_RIDDEN)
    for first in range(0, len(profiles), n_at_once):
        left = np.flatnonzero(~survived)
        if len(left):
            some = profiles[first : first + n_at_once]
            again = _survived(
                some, [rides[place] for place in left.tolist()], n_jobs=n_jobs, device=device
            )
            survived[left] = again.any(axis=0)
    return survived
