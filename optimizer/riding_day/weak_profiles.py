"""Weakened profiles, which find the hard ones among many rides."""

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from objectives.nose_down_rate import margin_widths, nearness
from plant.arrays import Floats
from plant.description.profile_array import PROFILE_NAMES
from plant.device import Device
from plant.kernel.simulate import LaidRides, Rides, laid_together, simulate

# One ride in so many is ridden by the second weak profile too. The hardest tenth by the first
# holds 71 of the 72 pieces that are hardest by both.
_LOOKED_INTO = 10

# A soft board without load response, and one whose damping is too weak for its stiffness: factors.
_WEAKENED: tuple[Mapping[str, float], ...] = (
    {
        "inner_gain_a_per_deg": 0.6,
        "base_gain_a_per_deg": 0.6,
        "rate_gain_a_per_deg_per_s": 0.6,
        "uphill_gain_deg_per_mps2": 0.0,
        "downhill_gain_deg_per_mps2": 0.0,
    },
    {"rate_gain_a_per_deg_per_s": 0.4},
)


def weakened(baseline: Floats) -> Floats:
    """Return the profiles that look for hard rides, (profile, parameter)."""
    profiles = np.tile(baseline, (len(_WEAKENED), 1))
    for row, factors in zip(profiles, _WEAKENED, strict=True):
        for name, factor in factors.items():
            row[PROFILE_NAMES.index(name)] *= factor
    return profiles


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Harder:
    """What weak profiles found in a batch of rides.

    Attributes
    ----------
    results : Rides
        What the first weak profile rode.
    places : (harder ride,) intp
        Which of the rides are its harder ones.
    hardness : (harder ride,) float64
        Mean nearness of the weak profiles to a nose-down, 0 to 1.
    margin : (harder ride,) float64
        Mean of `least_margins` of all profiles.
    beside : (profile beside, harder ride) float64
        How near each of these came to a nose-down.
    """

    results: Rides
    places: NDArray[np.intp]
    hardness: Floats
    margin: Floats
    beside: Floats


def harder_rides(
    weak: Floats,
    batches: Sequence[LaidRides],
    *,
    beside: Floats | None = None,
    n_least: int = 0,
    n_jobs: int = 1,
    device: Device = "cpu",
) -> list[Harder]:
    """Return what the first weak profile rode of each batch, and how hard its harder rides are.

    Parameters
    ----------
    weak : (profile, parameter) float64
        From `weakened`. The first rides all rides, the others only the harder tenth of each batch.
    batches : sequence of LaidRides
        Simulated together; what is found in one does not depend on the others.
    beside : (profile, parameter) float64, optional
        Profiles that ride the harder tenth too, in lanes that few rides of a road leave empty.
    n_least : int
        So many rides of the batches are looked into at least, the first batches first.
    n_jobs : int
        Threads; the result does not depend on it.
    device : Device
        What simulates; the result does not depend on it either.
    """
    laid = laid_together(batches)
    results = simulate(weak[:1], laid, n_jobs=n_jobs, device=device)
    near = ridden_nearness(results)[0]
    ends = np.cumsum([len(batch) for batch in batches])
    own = [slice(end - len(batch), end) for batch, end in zip(batches, ends, strict=True)]
    harder = []
    for rides in own:
        n_harder = max((rides.stop - rides.start) // _LOOKED_INTO, n_least)
        harder.append(np.argsort(-near[rides], kind="stable")[:n_harder])
        n_least = max(n_least - len(harder[-1]), 0)
    places = np.concatenate([rides.start + some for rides, some in zip(own, harder, strict=True)])
    others = simulate(
        weak[1:] if beside is None else np.vstack([weak[1:], beside]),
        laid.only(places),
        n_jobs=n_jobs,
        device=device,
    )
    near_weak, near_beside = np.split(ridden_nearness(others), [len(weak) - 1])
    hardness = np.vstack([near[places], near_weak]).mean(axis=0)
    margin = np.vstack([least_margins(results)[0, places], least_margins(others)]).mean(axis=0)
    cuts = np.cumsum([len(some) for some in harder])[:-1]
    found = (np.split(each, cuts, axis=-1) for each in (hardness, margin, near_beside))
    return [
        Harder(results=results.over(rides), places=some, hardness=hard, margin=least, beside=by)
        for rides, some, hard, least, by in zip(own, harder, *found, strict=True)
    ]


def ridden_nearness(results: Rides) -> Floats:
    """Return how near simulated rides came to a nose-down, 0 to 1, (candidate, ride)."""
    return nearness(_widths(results))


def least_margins(results: Rides) -> Floats:
    """Return the lesser of the two least margins of simulated rides, (candidate, ride).

    In units of their scatter; see `objectives.nose_down_rate.margin_widths`.
    """
    reserve, nose = np.split(_widths(results), 2, axis=1)
    return np.minimum(reserve, nose)


def _widths(results: Rides) -> Floats:
    return margin_widths(
        results.column("least_reserve_ratio"),
        results.column("least_nose_margin_ratio"),
        results.outcome,
    )
