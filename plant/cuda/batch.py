"""What one launch rides: lanes, longest first, and the arrays that the program reads of them."""

import dataclasses
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats, Indices


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RideBatch:
    """Rides, each of which every profile takes.

    Attributes
    ----------
    rides : (row, ride) float64
        Rows of each ride at its start, as `Program.ride_rows`.
    profiles : (row, profile) float64
        Rows of each profile, as `Program.profile_rows`.
    tables : tuple of tuple of (row, column) float64
        Tables of each ride, as `Program.tables`; one that several rides read is the same array.
    n_steps : (ride,) intp
        Steps of each ride.
    """

    rides: Floats
    profiles: Floats
    tables: tuple[tuple[Floats, ...], ...]
    n_steps: Indices

    @property
    def n_lanes(self) -> int:
        """Rides times profiles."""
        return len(self.n_steps) * int(self.profiles.shape[1])

    def part(self, rides: Indices) -> "RideBatch":
        """Return some of the rides, with all profiles."""
        return dataclasses.replace(
            self,
            rides=self.rides[:, rides],
            tables=tuple(self.tables[ride] for ride in rides),
            n_steps=self.n_steps[rides],
        )


def longest_first(batch: RideBatch) -> Indices:
    """Return the rides' order, longest first: no processor waits for a long ride begun late."""
    return np.argsort(-batch.n_steps, kind="stable")


def parts(sizes: Indices, *, most: int) -> list[slice]:
    """Return neighbours whose sizes add up to at most `most`, or one alone that is larger."""
    found: list[slice] = []
    first, total = 0, 0
    for place, size in enumerate(sizes):
        if place > first and total + size > most:
            found.append(slice(first, place))
            first, total = place, 0
        total += int(size)
    return [*found, slice(first, len(sizes))]


def lane_numbers(n_rides: int, n_profiles: int) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return the ride and the profile of each lane, int32: all lanes of a ride are neighbours."""
    ride, profile = np.indices((n_rides, n_profiles), dtype=np.int32).reshape(2, -1)
    return ride, profile


def tiled(rows: Floats, width: int) -> Floats:
    """Return rows of rides or profiles as they stand in memory, (tile, row, neighbour).

    Parameters
    ----------
    rows : (row, column) float64
    width : int
        Neighbours in a tile; the last tile is filled up with zeros.
    """
    n_rows, n_columns = rows.shape
    n_tiles = -(-n_columns // width)
    padded = np.zeros((n_rows, n_tiles * width))
    padded[:, :n_columns] = rows
    return np.ascontiguousarray(padded.reshape(n_rows, n_tiles, width).swapaxes(0, 1))


def distinct(tables: Sequence[Floats]) -> tuple[list[Floats], Indices]:
    """Return the tables without repeats, and which of them each is."""
    places: dict[int, int] = {}
    found: list[Floats] = []
    for table in tables:
        if id(table) not in places:
            places[id(table)] = len(found)
            found.append(table)
    return found, np.array([places[id(table)] for table in tables], dtype=np.intp)
