"""The hard rides of a riding day: data only."""

import dataclasses
from collections.abc import Mapping

from plant.arrays import Floats
from plant.kernel.simulate import Ride


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HardRides:
    """Rides of a drawn day that a weak profile loses, cut about the loss.

    Attributes
    ----------
    rides : tuple of Ride
        Each on a board and with a rider of its own draw of the tolerances.
    weights : (ride,) float64
        How many rides of the day each stands for.
    kilometres : mapping of str to float
        What each rider rode in the whole day from which they are drawn.
    text : str
        All that they follow from beside the study, as a store keeps it.
    """

    rides: tuple[Ride, ...]
    weights: Floats
    kilometres: Mapping[str, float]
    text: str
