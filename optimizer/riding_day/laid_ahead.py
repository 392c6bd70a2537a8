"""Rides drawn and laid while those before them are simulated, by other processes where it pays.

To draw a ride and to lay its road takes a thread longer than a GPU takes to ride it, and half of
that is Python, of which threads run one line at a time.
"""

import contextlib
import importlib
import mmap
import pickle
import signal
import tempfile
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from optimizer.base.atomic_files import writing
from optimizer.base.unfinished import passing_folder
from plant.device import Device
from plant.kernel.ride_columns import RideColumns
from plant.kernel.simulate import LaidRides, Ride, bring, lay

_Batch = TypeVar("_Batch")
_Facts = TypeVar("_Facts")
_LaidRound: TypeAlias = list[tuple[_Facts, LaidRides]]

# Courses; measured: a process starts in some 3 s, in which a thread draws and lays about as many.
_WORTH_PROCESSES = 512
_FEWEST_PROCESSES = 3  # two would only take the time from the threads that ride
_ROUNDS_AHEAD = 2  # laid by processes: none of them waits for the last batch of a round
_ALIGNED = 64  # bytes


def laid_ahead(
    draw: Callable[[_Batch], tuple[Sequence[Ride] | RideColumns, _Facts]],
    batches: Sequence[_Batch],
    *,
    n_courses: int,
    n_together: int,
    n_jobs: int,
    device: Device = "cpu",
) -> Iterator[list[tuple[_Facts, LaidRides]]]:
    """Yield laid rides and facts of some batches together, in order.

    The next are drawn and laid while the caller has these in hand; their roads are not kept. What
    processes lay is brought to the device meanwhile, too.

    Parameters
    ----------
    draw : callable
        From a batch to its rides, and to facts of them that the caller needs; a function at the
        head of a module, or a partial of one, so that another process finds it.
    batches : sequence
    n_courses : int
        Roads in all batches: few are laid by this process.
    n_together : int
        Batches that are laid, and yielded, together.
    n_jobs : int
        Threads or processes; with one, nothing is laid ahead.
    device : Device
        What will simulate them.

    Raises
    ------
    FileError
        What processes lay can not be written into a temporary folder.
    CudaMissingError
        As of `plant.cuda.launch.bring`.
    """
    rounds = [batches[first : first + n_together] for first in range(0, len(batches), n_together)]

    def here(some: Sequence[_Batch]) -> _LaidRound[_Facts]:
        return [_laid(draw, batch) for batch in some]

    if n_jobs == 1:
        yield from map(here, rounds)
    elif not (n_processes := _worth_starting(n_courses, n_together, n_jobs)):
        yield from _ahead(here, rounds, n_rounds=1)
    else:
        with passing_folder("laid") as folder:

            def there(some: Sequence[_Batch]) -> _LaidRound[_Facts]:
                laid = _joblib().delayed(_laid_into)
                paths = _processes(n_processes)(laid(draw, batch, folder) for batch in some)
                found: _LaidRound[_Facts] = [_read(path) for path in paths]
                bring([rides for _, rides in found], device)
                return found

            yield from _ahead(there, rounds, n_rounds=_ROUNDS_AHEAD)


def start_processes(*, n_courses: int, n_together: int, n_jobs: int) -> None:
    """Start the processes that will lay so many courses, where these pay, and do not wait for them.

    They take seconds to start, which a caller that has something else to do can spare.
    """
    n_processes = _worth_starting(n_courses, n_together, n_jobs)
    if n_processes:
        threading.Thread(target=_load_in_processes, args=(n_processes,)).start()


def _worth_starting(n_courses: int, n_together: int, n_jobs: int) -> int:
    """Return how many processes lay sooner than a thread; each lays one batch of a round."""
    n_processes = min(n_jobs, n_together)
    return n_processes if n_processes >= _FEWEST_PROCESSES and n_courses >= _WORTH_PROCESSES else 0


def _joblib() -> Any:
    """Return the library that starts processes, loaded with the first of them."""
    return importlib.import_module("joblib")


def _processes(number: int) -> Any:
    # Ctrl-C reaches every process of a terminal; the one that started the others answers it.
    ignored = (signal.SIGINT, signal.SIG_IGN)
    return _joblib().Parallel(
        n_jobs=number, batch_size=1, initializer=signal.signal, initargs=ignored
    )


def _load_in_processes(number: int) -> None:
    load = _joblib().delayed(importlib.import_module)
    _processes(number)(load("optimizer.riding_day.rides") for _ in range(number))


def _ahead(
    lay_all: Callable[[Sequence[_Batch]], _LaidRound[_Facts]],
    rounds: Sequence[Sequence[_Batch]],
    *,
    n_rounds: int,
) -> Iterator[_LaidRound[_Facts]]:
    """Yield each round laid, and lay so many of the next meanwhile."""
    with ThreadPoolExecutor(n_rounds) as threads:
        coming: deque[Future[_LaidRound[_Facts]]] = deque()
        for some in rounds:
            coming.append(threads.submit(lay_all, some))
            if len(coming) > n_rounds:
                yield coming.popleft().result()
        while coming:
            yield coming.popleft().result()


def _laid(
    draw: Callable[[_Batch], tuple[Sequence[Ride] | RideColumns, _Facts]], batch: _Batch
) -> tuple[_Facts, LaidRides]:
    rides, facts = draw(batch)
    return facts, lay(rides, keep_roads=False)


def _laid_into(
    draw: Callable[[_Batch], tuple[Sequence[Ride] | RideColumns, _Facts]],
    batch: _Batch,
    folder: Path,
) -> tuple[Path, bytes, list[int]]:
    """Lay a batch into a file; return its path, all but the arrays, and the arrays' sizes.

    The arrays of a batch are tens of megabytes. A pipe would take as long over them as the GPU.
    """
    arrays: list[pickle.PickleBuffer] = []
    text = pickle.dumps(_laid(draw, batch), protocol=5, buffer_callback=arrays.append)
    sizes = [array.raw().nbytes for array in arrays]
    with writing(folder), tempfile.NamedTemporaryFile(dir=folder, delete=False) as file:
        for array, size in zip(arrays, sizes, strict=True):
            file.write(array.raw())
            file.write(bytes(-size % _ALIGNED))
    return Path(file.name), text, sizes


def _read(kept: tuple[Path, bytes, list[int]]) -> tuple[_Facts, LaidRides]:
    """Return a batch from its file, which goes with the last of its arrays."""
    path, text, sizes = kept
    with path.open("rb") as file:
        whole = memoryview(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))
    with contextlib.suppress(PermissionError):  # a mapped file stays on Windows until the end
        path.unlink()
    arrays, first = [], 0
    for size in sizes:
        arrays.append(whole[first : first + size])
        first += size + -size % _ALIGNED
    # Written by a process of this call.
    facts, laid = pickle.loads(text, buffers=arrays)  # noqa: S301
    return facts, laid
