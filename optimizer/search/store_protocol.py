"""What a search needs of the place that keeps its candidates."""

from collections.abc import Mapping
from typing import Protocol

from optimizer.search.evaluation import Evaluation, History
from plant.arrays import Floats


class CandidateStore(Protocol):
    """Keeps whole generations of candidates, numbered from 0 on."""

    def freeze(self, inputs: Mapping[str, str]) -> None:
        """Keep inputs that decide the sequence, or refuse other ones than those kept."""
        ...

    def history(self, *, population: int) -> History:
        """Return all finished candidates, whole generations of `population`."""
        ...

    def rides(self, numbers: range) -> Floats:
        """Return how candidates of rising number rode, (candidate, ride, column)."""
        ...

    def append(self, generation: int, values: Floats, evaluation: Evaluation) -> None:
        """Keep a generation, whole or not at all, numbered on from the last candidate."""
        ...
