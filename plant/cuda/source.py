"""What a program for the GPU is made from: the kernel in Python, and what is chosen for speed."""

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

from plant.cuda.values import Value


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A kernel as it stands in Python.

    Attributes
    ----------
    entry : callable
        Rides one lane from its start to its end.
    arguments : tuple of Value
        What each of its parameters is: `LaneRows`, a `Table`, `Static`, or `Code` for the number
        of steps, which each ride has for itself.
    names : mapping of str to object
        What global names of its modules mean for a block of one lane.
    rows : tuple of str
        Name of each row, by its number.
    profile_rows : frozenset of str
        Rows that follow from the profile; all others follow from the ride.
    kept_rows : frozenset of str
        Rows that one step hands to the next, or to the end.
    ring : range
        Numbers of the rows that are found by a reckoned place.
    looked_up : range
        Numbers of the rows of the ride that are only read, at a reckoned place: a table.
    """

    entry: Callable[..., Any]
    arguments: tuple[Value, ...]
    names: Mapping[str, object]
    rows: tuple[str, ...]
    profile_rows: frozenset[str]
    kept_rows: frozenset[str]
    ring: range
    looked_up: range


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What is free to choose for speed: none of it changes a bit.

    Attributes
    ----------
    block : int
        Threads of a block, a multiple of `TILE`.
    least_blocks : int
        Blocks that must fit on one multiprocessor at a time: bounds the registers of a thread.
    shared_uses : int
        Kept rows that stand at most so often in the text are in shared memory, others in
        registers.
    reals_in_memory : bool
        Real numbers are read from constant memory, where an instruction takes them as they are;
        as part of the program many need instructions of their own.
    ride_tile : int
        Rides side by side in memory, a power of two: few keep what one ride reads close together.
    in_step : bool
        Threads of a block wait for each other at each step, so that they share what is fetched
        of the program.
    """

    block: int = 128
    least_blocks: int = 2
    shared_uses: int = 0
    reals_in_memory: bool = True
    ride_tile: int = 4
    in_step: bool = False


DEFAULT = Choices()
