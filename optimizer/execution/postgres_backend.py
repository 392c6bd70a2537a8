"""Candidates ridden by several machines that meet at one database.

Proposals follow from a study's inputs and its finished generations alone, so every machine works
out the same generation by itself. Of a generation each claims a few candidates at a time, rides and
stores them, and reads what the others rode. An outcome is kept under a digest of the candidate and
the rides it was to ride, so that it is found whatever generation or batch a machine asks for it in.
"""

import functools
import hashlib
import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TypeAlias

import numpy as np

from optimizer.base.errors import MachineError
from optimizer.execution.postgres import Database, OutcomeRow, joined
from optimizer.execution.reference_ride import Reference, agrees
from optimizer.execution.store_format import checksum, outcome_blobs, rides_of, stacked
from optimizer.search.evaluation import Evaluate, Evaluation
from plant.arrays import Floats
from plant.kernel.simulate import Ride

Share: TypeAlias = Callable[..., Evaluate]

# Candidates at a time, at least: enough to fill the kernel's blocks, few enough to lose.
_CLAIMED = 8
_POLL_S = 0.05


@contextmanager
def sharing(address: str, inputs: Mapping[str, str]) -> Iterator[Share]:
    """Give what turns riding here into riding by all machines at the database together.

    Parameters
    ----------
    address : str
    inputs : mapping of str to str
        What decides the study; see `optimizer.execution.postgres.joined`.

    Raises
    ------
    UserInputError
        The database does not answer or holds another study, or this machine calculates otherwise
        than the one that rode first.
    """
    with joined(address, inputs) as database:
        yield functools.partial(_SharedRides, database)


class _SharedRides:
    """An `Evaluate` that remembers whether its machine has proved to calculate as the others.

    Parameters
    ----------
    database : Database
    evaluate : Evaluate
        Rides candidates on this machine.
    rides : sequence of Ride
        Those that `evaluate` rides.
    screening : tuple of int
        Places of those that it rides first, for early rejection.
    n_at_once : int
        Candidates that this machine rides in the time of one.
    """

    def __init__(
        self,
        database: Database,
        evaluate: Evaluate,
        *,
        rides: Sequence[Ride],
        screening: tuple[int, ...] = (),
        n_at_once: int = 0,
    ) -> None:
        self._database = database
        self._evaluate = evaluate
        # Beside the candidate this decides its outcome.
        ridden = [[[ride.name, ride.noise_seed] for ride in rides], screening]
        self._noise = hashlib.sha256(json.dumps(ridden).encode()).digest()
        self._n_claimed = max(_CLAIMED, n_at_once)
        self._proved = False

    def __call__(self, values: Floats, /) -> Evaluation:
        values = np.ascontiguousarray(values, dtype="<f8")
        keys = [hashlib.sha256(self._noise + row.tobytes()).digest() for row in values]
        rows = dict(zip(keys, values, strict=True))
        while True:
            self._prove()
            stored = self._database.stored(keys)
            missing = [key for key in rows if key not in stored]
            if not missing:
                break
            if not self._ride_some({key: rows[key] for key in missing}):
                time.sleep(_POLL_S)
        outcomes = self._database.outcomes(keys)
        return self._read([outcomes[key] for key in keys])

    def _ride_some(self, missing: Mapping[bytes, Floats]) -> bool:
        """Ride a few candidates that nobody has claimed; say whether there were any."""
        keys = list(missing)
        for start in range(0, len(keys), self._n_claimed):
            with self._database.claimed(keys[start : start + self._n_claimed]) as claimed:
                # Another machine may have stored them since they were found to be missing.
                stored = self._database.stored(claimed)
                mine = [key for key in claimed if key not in stored]
                if mine:
                    values = np.stack([missing[key] for key in mine])
                    ridden = outcome_rows(mine, values, self._evaluate(values.copy()))
                    self._database.store(self._noise, ridden)
                    return True
        return False

    def _prove(self) -> None:
        """Ride again what another machine rode first, once; the bytes must be the same."""
        if self._proved:
            return
        first = self._database.first_outcome(self._noise)
        if first is None:
            return
        self._check([first])
        reference = Reference(parameters=first[1], outcome=(first[2], first[3], first[5]))
        if not agrees(self._evaluate, reference):
            raise MachineError(
                f"{self._database.shown}: this machine's results differ in their last digits from"
                " those of the machine that started the study, as its C library may be another"
                " one; use machines with the same system, or run this study here alone"
            )
        self._proved = True

    def _check(self, rows: Sequence[OutcomeRow]) -> None:
        for row in rows:
            if checksum(*row[:6]) != row[6]:
                raise MachineError(
                    f"{self._database.shown}: a stored candidate does not match its checksum;"
                    " restore the database from a backup, or use a database of its own"
                )

    def _read(self, rows: Sequence[OutcomeRow]) -> Evaluation:
        self._check(rows)
        return Evaluation(
            objectives=stacked([row[2] for row in rows]),
            constraints=stacked([row[3] for row in rows]),
            rides=rides_of([row[5] for row in rows], rows[0][4]),
        )


def outcome_rows(keys: Sequence[bytes], values: Floats, evaluation: Evaluation) -> list[OutcomeRow]:
    """Return the rows under which a batch's outcomes are stored."""
    rows = []
    for row, key in enumerate(keys):
        parameters = values[row].astype("<f8").tobytes()
        objectives, constraints, rides = outcome_blobs(evaluation, row)
        n_rides = len(evaluation.rides[row])
        held = (key, parameters, objectives, constraints, n_rides, rides)
        rows.append((*held, checksum(*held)))
    return rows
