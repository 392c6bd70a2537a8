"""Candidates on rides of their study, simulated again for the signals that no store keeps."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np

from optimizer.analysis.candidate import candidate_profile, ridden_rides
from optimizer.analysis.results import Results
from plant.kernel.lane_layout import WIDTH
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace, traces

_Made = TypeVar("_Made")


def ridden_again(
    results: Results,
    wanted: Sequence[tuple[int, int]],
    *,
    made_of: Callable[[Ride, Trace], _Made],
    every_steps: int,
) -> dict[tuple[int, int], _Made]:
    """Return what is made of candidates on rides; those of one ride are simulated together.

    Parameters
    ----------
    results : Results
    wanted : sequence of (number, place)
        Of the candidate, and of the ride among the study's own.
    made_of : callable
        Returns from a ride and its trace what is kept of it.
    every_steps : int
        Milliseconds from one sample of a trace to the next.

    Returns
    -------
    dict
        By number and place.
    """
    groups: dict[tuple[int, bool], list[int]] = {}
    for number, place in wanted:
        groups.setdefault((place, bool(results.reevaluated[number])), []).append(number)
    blocks = [
        (place, numbers[first : first + WIDTH])
        for (place, _), numbers in groups.items()
        for first in range(0, len(numbers), WIDTH)
    ]

    def ride(block: tuple[int, list[int]]) -> list[tuple[tuple[int, int], _Made]]:
        place, numbers = block
        profiles = np.stack([candidate_profile(results, number) for number in numbers])
        ridden = ridden_rides(results, numbers[0])[place]
        found = traces(profiles, ridden, every_steps=every_steps)
        return [
            ((number, place), made_of(ridden, one))
            for number, one in zip(numbers, found, strict=True)
        ]

    with ThreadPoolExecutor() as pool:
        return dict(one for block in pool.map(ride, blocks) for one in block)
