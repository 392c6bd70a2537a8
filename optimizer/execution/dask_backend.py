"""A batch of candidates spread over the workers of a Dask cluster."""

import functools
import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

import joblib
import numpy as np
from distributed import Client, KilledWorker
from numpy.typing import NDArray

from optimizer.base.errors import MachineError, UserInputError
from optimizer.execution.provenance import model_inputs
from optimizer.search.evaluation import Evaluate, Evaluation

Floats = NDArray[np.float64]

_CANDIDATES_A_TASK = 4
_PATIENCE_S = 20


@contextmanager
def spreading(address: str) -> Iterator[Callable[[Evaluate], Evaluate]]:
    """Give what turns riding here on one thread into riding on a cluster's workers.

    What rides here is sent to the workers, which must have levelgain too. A worker that is lost has
    its tasks done by the others; outcomes do not depend on who rides.

    Parameters
    ----------
    address : str
        Of the cluster's scheduler, such as tcp://host:8786.

    Raises
    ------
    UserInputError
        No scheduler or worker answers, or a worker has another version.
    """
    with _reported(address):
        client = Client(  # type: ignore[no-untyped-call]
            address, timeout=_PATIENCE_S, set_as_default=False
        )
    with client:
        with _reported(address):
            client.wait_for_workers(1, timeout=_PATIENCE_S)

        def ride(evaluate: Evaluate, values: Floats, /) -> Evaluation:
            blocks = np.array_split(values, math.ceil(len(values) / _CANDIDATES_A_TASK))
            with (
                _reported(address),
                joblib.parallel_config("dask", client=client, pure=False),
            ):
                parts = joblib.Parallel(batch_size=1, pre_dispatch="all")(
                    joblib.delayed(_ride)(evaluate, block, model_inputs()) for block in blocks
                )
            return Evaluation(
                objectives=np.concatenate([part.objectives for part in parts]),
                constraints=np.concatenate([part.constraints for part in parts]),
                rides=np.concatenate([part.rides for part in parts]),
            )

        yield lambda evaluate: functools.partial(ride, evaluate)


def _ride(evaluate: Evaluate, values: Floats, expected: Mapping[str, str]) -> Evaluation:
    """Ride a block on a worker, if its model and libraries are those of the study."""
    found = model_inputs()
    for key, text in expected.items():
        if found[key] != text:
            raise MachineError(
                f"a worker of the cluster has another {key}: {found[key]!r}, here {text!r};"
                " give all workers this machine's version"
            )
    return evaluate(values)


@contextmanager
def _reported(address: str) -> Iterator[None]:
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
