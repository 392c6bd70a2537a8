"""Where a study's candidates are simulated: this machine, a cluster, several machines."""

import importlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from types import ModuleType

from optimizer.base.database_url import check_address
from optimizer.base.errors import MachineError
from optimizer.execution.evaluate import baseline_values, make_evaluate
from optimizer.execution.provenance import ride_inputs
from optimizer.search.evaluation import Evaluate
from optimizer.search.frozen_settings import WEIGHTS, method_inputs
from optimizer.study.study import Study
from plant.device import lanes_at_once


@dataclass(frozen=True, slots=True, kw_only=True)
class Machines:
    """Where a study is ridden; the results do not depend on it.

    Parameters
    ----------
    database : str, optional
        Address of the PostgreSQL database at which several machines meet, each on its own device.
    cluster : str, optional
        Address of the Dask scheduler whose workers ride instead of this machine's threads. On the
        device "cuda" each worker needs a GPU, as this machine does.
    """

    database: str | None = field(default=None, repr=False)  # it may hold a password
    cluster: str | None = None


ALONE = Machines()


@contextmanager
def riding(
    study: Study, machines: Machines, *, rides_of: Study, n_jobs: int, weights: str
) -> Iterator[Callable[[tuple[int, ...]], Evaluate]]:
    """Give the function from the places of screening rides to what evaluates candidates.

    Parameters
    ----------
    study : Study
        As it was read: what the machines must agree on.
    machines : Machines
    rides_of : Study
        The same study, or the same on other noise.
    n_jobs : int
        Threads of this machine.
    weights : str
        What the search started with; machines at a database must agree on it too.

    Raises
    ------
    UserInputError
        A package is missing, the database or the cluster does not answer, or other inputs there.
    """
    with ExitStack() as stack:
        spread = share = None
        if machines.cluster is not None:
            cluster = _module(
                "optimizer.execution.dask_backend", package="distributed", wanted_by="cluster"
            )
            spread = stack.enter_context(cluster.spreading(machines.cluster))
        if machines.database is not None:
            _check_database(machines.database)
            shared = _module(
                "optimizer.execution.postgres_backend", package="psycopg", wanted_by="database"
            )
            inputs = ride_inputs(study) | method_inputs() | {WEIGHTS: weights}
            share = stack.enter_context(shared.sharing(machines.database, inputs))

        n_at_once = lanes_at_once(rides_of.device) // rides_of.n_rides

        def ride_by(screening: tuple[int, ...]) -> Evaluate:
            evaluate = make_evaluate(rides_of, n_jobs=1 if spread else n_jobs, screening=screening)
            if spread is not None:
                evaluate = spread(evaluate, baseline_values(rides_of), n_at_once=n_at_once)
            if share is not None:
                evaluate = share(
                    evaluate,
                    rides=rides_of.all_rides,
                    screening=screening,
                    n_at_once=n_at_once,
                )
            return evaluate

        yield ride_by


def _check_database(address: str) -> None:
    try:
        check_address(address)
    except ValueError as error:
        raise MachineError(f"database: {error}") from None


def _module(name: str, *, package: str, wanted_by: str) -> ModuleType:
    """Load a module that needs a package which most installations do without."""
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise MachineError(
            f"{wanted_by}: needs the package {package}, which can not be loaded here ({error});"
            " install it with: pip install 'levelgain[cluster]'"
        ) from error
