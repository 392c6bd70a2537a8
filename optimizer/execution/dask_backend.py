"""A batch of candidates spread over the workers of a Dask cluster."""

import functools
import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TypeAlias

import joblib
import numpy as np
from distributed import Client, KilledWorker

from optimizer.base.database_url import masked
from optimizer.base.errors import MachineError, UserInputError
from optimizer.execution.provenance import model_inputs
from optimizer.execution.reference_ride import Reference, agrees, ridden_here
from optimizer.search.evaluation import Evaluate, Evaluation
from plant.arrays import Floats
from plant.cuda.available import CudaMissingError

_CANDIDATES_A_TASK = 4
_PATIENCE_S = 20
# In the process of a worker: what it has ridden to the same bits as the machine that sent it.
_AGREED: set[Reference] = set()

Spread: TypeAlias = Callable[..., Evaluate]


@contextmanager
def spreading(address: str) -> Iterator[Spread]:
    """Give what turns riding here on one thread into riding on a cluster's workers.

    What rides here is sent to the workers, which must have levelgain too. Each worker first rides a
    candidate that this machine has ridden, and must come to the same bits. The tasks of a worker
    that is lost are done by the others; outcomes do not depend on which worker rides.

    The function given takes what rides here, the candidate to compare by, (parameter,), and as
    `n_at_once` how many candidates a worker rides in the time of one.

    Parameters
    ----------
    address : str
        Of the cluster's scheduler, such as tcp://host:8786.

    Raises
    ------
    UserInputError
        No scheduler or worker answers, or a worker has another version or comes to other bits.
    """
    with _reported(address):
        client = Client(  # type: ignore[no-untyped-call]
            address, timeout=_PATIENCE_S, set_as_default=False
        )
    with client:
        with _reported(address):
            client.wait_for_workers(1, timeout=_PATIENCE_S)

        def ride(
            evaluate: Evaluate, reference: Reference, n_at_once: int, values: Floats, /
        ) -> Evaluation:
            n_tasks = math.ceil(len(values) / max(_CANDIDATES_A_TASK, n_at_once))
            n_workers = len(client.scheduler_info(n_workers=-1)["workers"])
            n_tasks = max(n_tasks, min(n_workers, len(values)))
            blocks = np.array_split(values, n_tasks)
            with (
                _reported(address),
                joblib.parallel_config("dask", client=client, pure=False),
            ):
                parts = joblib.Parallel(batch_size=1, pre_dispatch="all")(
                    joblib.delayed(_ride)(evaluate, block, model_inputs(), reference)
                    for block in blocks
                )
            return Evaluation(
                objectives=np.concatenate([part.objectives for part in parts]),
                constraints=np.concatenate([part.constraints for part in parts]),
                rides=np.concatenate([part.rides for part in parts]),
            )

        yield lambda evaluate, candidate, n_at_once=0: functools.partial(
            ride, evaluate, ridden_here(evaluate, candidate), n_at_once
        )


def _ride(
    evaluate: Evaluate, values: Floats, expected: Mapping[str, str], reference: Reference
) -> Evaluation:
    """Ride a block on a worker, if its model, libraries and bits are those of the study."""
    found = model_inputs()
    for key, text in expected.items():
        if found[key] != text:
            raise MachineError(
                f"a worker of the cluster has another {key}: {found[key]!r}, here {text!r};"
                " give all workers this machine's version"
            )
    try:
        return _ride_if_agreed(evaluate, values, reference)
    except CudaMissingError as error:
        raise MachineError(f"a worker of the cluster: {error}") from None


def _ride_if_agreed(evaluate: Evaluate, values: Floats, reference: Reference) -> Evaluation:
    if reference not in _AGREED:
        if not agrees(evaluate, reference):
            raise MachineError(
                "a worker's results differ in their last digits from this machine's, as its"
                " C library may be another one; use workers with this machine's system"
            )
        _AGREED.add(reference)
    return evaluate(values)


@contextmanager
def _reported(address: str) -> Iterator[None]:
    address = masked(address)
    advice = "every finished generation is kept: check the cluster and resume"
    try:
        yield
    except UserInputError as error:
        raise MachineError(f"{address}: {error}") from None
    except ModuleNotFoundError as error:
        raise MachineError(
            f"{address}: the cluster's workers have no {error.name}; install levelgain there"
        ) from error
    except KilledWorker as error:
        raise MachineError(
            f"{address}: workers died again and again while they rode; {advice}"
        ) from error
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())
        raise MachineError(
            f"{address}: the cluster does not answer ({reason}); {advice}"
        ) from error
