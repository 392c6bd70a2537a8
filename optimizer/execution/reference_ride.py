"""A candidate that one machine has ridden, for another to show that it rides to the same bits.

Equal versions do not make equal results: another C library may round otherwise.
"""

from dataclasses import dataclass

from optimizer.execution.store_format import outcome_blobs, stacked
from optimizer.search.evaluation import Evaluate
from plant.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A candidate and its outcome, as a store keeps them.

    Attributes
    ----------
    parameters : bytes
    outcome : tuple of bytes
        Objectives, constraints and rides.
    """

    parameters: bytes
    outcome: tuple[bytes, bytes, bytes]


def ridden_here(evaluate: Evaluate, candidate: Floats) -> Reference:
    """Return a candidate, (parameter,), with its outcome on this machine."""
    parameters = candidate.astype("<f8").tobytes()
    return Reference(parameters=parameters, outcome=_outcome(evaluate, parameters))


def agrees(evaluate: Evaluate, reference: Reference) -> bool:
    """Say whether this machine rides the candidate to the same bits."""
    return _outcome(evaluate, reference.parameters) == reference.outcome


def _outcome(evaluate: Evaluate, parameters: bytes) -> tuple[bytes, bytes, bytes]:
    return outcome_blobs(evaluate(stacked([parameters])), 0)
