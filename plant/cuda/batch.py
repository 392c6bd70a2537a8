"""What one launch rides: rides and profiles, and the order of their lanes."""

import dataclasses
from collections.abc import Sequence
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats, Indices


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RideBatch:
    """Rides, each of which every profile takes.

    Attributes
    ----------
    rides : (ride, row) float64
        All rows of each ride's lane at its start, as `Source.rows`.
    profiles : (profile, row) float64
        Rows of each profile, likewise; others are not read.
    tables : sequence of tuple of (row, column) float64
        The tables that some rides share, as `Program.tables`.
    table_of : (ride,) intp
        Which of them each ride reads.
    n_steps : (ride,) intp
        Steps of each ride.
    """

    rides: Floats
    profiles: Floats
    tables: Sequence[tuple[Floats, ...]]
    table_of: Indices
    n_steps: Indices

    @property
    def n_lanes(self) -> int:
        """Rides times profiles."""
        return len(self.rides) * len(self.profiles)

    def part(self, rides: Indices) -> "RideBatch":
        """Return some of the rides, with all profiles."""
        used, table_of = np.unique(self.table_of[rides], return_inverse=True)
        return dataclasses.replace(
            self,
            rides=self.rides[rides],
            tables=[self.tables[place] for place in used],
            table_of=table_of,
            n_steps=self.n_steps[rides],
        )


def longest_first(n_steps: Indices) -> Indices:
    """Return the rides' order, longest first: no processor waits for a long ride begun late."""
    return np.argsort(-n_steps, kind="stable")


def parts(sizes: Indices, *, most: int) -> list[slice]:
    """Return neighbours whose sizes add up to at most `most`, or one alone that is larger."""
    found: list[slice] = []
    first, total = 0, 0
    for place, size in enumerate(sizes.tolist()):
        if place > first and total + size > most:
            found.append(slice(first, place))
            first, total = place, 0
        total += size
    return [*found, slice(first, len(sizes))]


def lane_numbers(n_steps: Indices, n_profiles: int) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return ride and profile of each lane: neighbours are lanes of one ride, the longest first."""
    order = longest_first(n_steps).astype(np.int32)
    profile = np.arange(n_profiles, dtype=np.int32)
    return np.repeat(order, n_profiles), np.tile(profile, len(order))


def tiled(numbers: ModuleType, rows: Any, width: int) -> Any:
    """Return rows of rides or profiles as they stand in memory, (tile, row, neighbour).

    Parameters
    ----------
    numbers : module
        numpy, or what does the same on a GPU.
    rows : (neighbour, row) float64
        An array of that module.
    width : int
        Neighbours in a tile; the last tile is filled up with zeros.
    """
    n_tiles = -(-len(rows) // width)
    padded = numbers.zeros((n_tiles * width, rows.shape[1]))
    padded[: len(rows)] = rows
    return numbers.ascontiguousarray(padded.reshape(n_tiles, width, -1).swapaxes(1, 2))
