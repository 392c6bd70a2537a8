"""Launches a program on the GPUs of this machine; all calls of the GPU's library stand here."""

import functools
import importlib
import threading
import weakref
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType
from typing import Any, TypeAlias

import numpy as np

from plant.arrays import Floats, Indices
from plant.cuda.available import faults_in_a_line, require_cuda
from plant.cuda.batch import RideBatch, lane_numbers, longest_first, parts, tiled
from plant.cuda.program import ENTRY, OPTIONS, Program
from plant.cuda.values import TILE

# An array of the GPU's library, or a kernel: it publishes no types.
_OnGpu: TypeAlias = Any

_PART_SHARE = 0.5  # of a GPU's memory for what one launch needs
_TABLES_SHARE = 0.25  # of a GPU's memory for tables of rides that may come again
_BLOCK_BYTES = 1024  # of shared memory that the system takes of each block
_STAGED_BYTES = 1 << 28  # copied to a GPU at a time
_COPYING_THREADS = 8
_LANES_FOR_ANOTHER = 16_384  # assumed: fewer leave a second GPU nothing to gain


def ride(program: Program, batch: RideBatch) -> Floats:
    """Return the last rows of every lane of a batch, (row, profile, ride), as `end_rows`.

    Parameters
    ----------
    program : Program
    batch : RideBatch
        Of one lane or more. Its tables must not change afterwards: they stay on the GPU while
        they are in use here.

    Raises
    ------
    CudaMissingError
        There is no GPU here, no library for it, or too little of its memory.
    """
    cupy = require_cuda()
    with faults_in_a_line(cupy):
        return _ridden(cupy, program, batch)


def bring(tables: Sequence[Floats]) -> None:
    """Copy tables to the GPU that will ride over them, while it rides over others.

    What does not fit beside the tables that are kept there waits for its launch, and so do all
    where several GPUs share a launch.

    Parameters
    ----------
    tables : sequence of (row, column) float64
        As those of a batch; they must not change afterwards.

    Raises
    ------
    CudaMissingError
        As of `ride`.
    """
    cupy = require_cuda()
    with faults_in_a_line(cupy):
        if cupy.cuda.runtime.getDeviceCount() == 1:
            _gpu(0).bring(tables)


def _ridden(cupy: ModuleType, program: Program, batch: RideBatch) -> Floats:
    n_gpus = min(
        cupy.cuda.runtime.getDeviceCount(),
        1 + batch.n_lanes // _LANES_FOR_ANOTHER,
        len(batch.rides),
    )
    if n_gpus == 1:
        return _gpu(0).ride(program, batch)
    # Long and short rides to each.
    order = longest_first(batch.n_steps)
    shares = [order[number::n_gpus] for number in range(n_gpus)]
    with ThreadPoolExecutor(n_gpus) as pool:
        found = pool.map(
            lambda number: _gpu(number).ride(program, batch.part(shares[number])), range(n_gpus)
        )
        ends = np.concatenate(list(found), axis=2)
    return ends[:, :, np.argsort(np.concatenate(shares))]


@functools.cache
def _gpu(number: int) -> "_Gpu":
    return _Gpu(require_cuda(), number)


class _Gpu:
    """One GPU: its compiled programs, and the tables on it, what was used last at the end.

    One thread rides at a time, and one copies tables: by a stream of its own, so that the next may
    come while the GPU rides.
    """

    def __init__(self, cupy: ModuleType, number: int) -> None:
        self._cupy = cupy
        self._one_rides = threading.Lock()
        self._one_copies = threading.RLock()
        self._device = cupy.cuda.Device(number)
        _, self._n_bytes = self._device.mem_info
        self._kernels: dict[str, _OnGpu] = {}
        self._kept: OrderedDict[int, _OnGpu] = OrderedDict()
        self._empty_pinned = importlib.import_module("cupyx").empty_pinned
        self._staged: Floats = np.empty(0)
        with self._device:
            self._copies = cupy.cuda.Stream(non_blocking=True)

    def kernel(self, program: Program) -> _OnGpu:
        """Return the program's kernel, compiled once."""
        if program.text not in self._kernels:
            module = self._cupy.RawModule(code=program.text, options=OPTIONS)
            kernel = self._kernels[program.text] = module.get_function(ENTRY)
            # More than 48 KiB must be asked for, and room for as many blocks as registers allow.
            kernel.max_dynamic_shared_size_bytes = program.shared_bytes
            all_blocks = program.choices.least_blocks * (program.shared_bytes + _BLOCK_BYTES)
            share = 100 * all_blocks // self._device.attributes["MaxSharedMemoryPerMultiprocessor"]
            kernel.preferred_shared_memory_carveout = min(share + 1, 100)
        return self._kernels[program.text]

    def ride(self, program: Program, batch: RideBatch) -> Floats:
        """Return the last rows of every lane, (row, profile, ride), in launches that fit."""
        most = int(_PART_SHARE * self._n_bytes)
        whole = parts(_ride_bytes(program, batch), most=most)
        with self._one_rides, self._device:
            if len(whole) == 1:
                return self._ride_part(program, batch)
            places = np.arange(len(batch.rides))
            found = [self._ride_part(program, batch.part(places[one])) for one in whole]
        return np.concatenate(found, axis=2)

    def bring(self, tables: Sequence[Floats]) -> None:
        """Copy tables for a launch to come, where they fit beside those that are kept."""
        with self._one_copies, self._device:  # two that fit alone may not fit together
            kept = list(self._kept.values())
            n_bytes = sum({id(one.base): one.base.nbytes for one in kept}.values())
            if n_bytes + sum(one.nbytes for one in tables) <= _TABLES_SHARE * self._n_bytes:
                self._upload(tables)

    def _ride_part(self, program: Program, batch: RideBatch) -> Floats:
        cupy, choices = self._cupy, program.choices
        numbers = (program.ride_numbers, program.profile_numbers)
        rides, profiles = (
            cupy.take(cupy.asarray(rows), cupy.asarray(columns), axis=1)
            for rows, columns in zip((batch.rides, batch.profiles), numbers, strict=True)
        )
        ride_of, profile_of = lane_numbers(batch.n_steps, len(batch.profiles))
        given = [
            np.int32(batch.n_lanes),
            np.int32(len(batch.rides)),
            cupy.asarray(ride_of),
            cupy.asarray(profile_of),
            tiled(cupy, rides, choices.ride_tile),
            tiled(cupy, profiles, TILE),
            cupy.asarray(batch.n_steps.astype(np.int32)),
        ]
        self._upload([one for tables in batch.tables for one in tables])
        held = [[self._kept[id(one)] for one in tables] for tables in batch.tables]
        for place in range(len(program.tables)):
            pointers = np.array([tables[place].data.ptr for tables in held], dtype=np.uint64)
            n_rows = np.array([len(tables[place]) for tables in held], dtype=np.int32)
            given += [cupy.asarray(column[batch.table_of]) for column in (pointers, n_rows)]
        given.append(cupy.empty((-(-batch.n_lanes // TILE), program.n_ring, TILE)))
        ends = cupy.empty((len(program.end_rows), len(batch.profiles), len(batch.rides)))
        n_blocks = -(-batch.n_lanes // choices.block)
        self.kernel(program)(
            (n_blocks,), (choices.block,), (*given, ends), shared_mem=program.shared_bytes
        )
        found: Floats = cupy.asnumpy(ends)  # waits for the launch
        self._forget()
        return found

    def _upload(self, tables: Sequence[Floats]) -> None:
        """Bring tables to the GPU, where each stays for as long as it is in use here.

        They go by way of memory that stays where it is, which a GPU reads ten times as fast as
        other memory, and into which several threads copy.
        """
        if not self._missing(tables):
            return  # and does not wait for those that another thread copies
        with self._one_copies, ThreadPoolExecutor(_COPYING_THREADS) as threads:
            missing = self._missing(tables)
            sizes = np.array([table.nbytes for table in missing], dtype=np.intp)
            for neighbours in parts(sizes, most=_STAGED_BYTES) if missing else ():
                self._upload_together(missing[neighbours], threads)

    def _missing(self, tables: Sequence[Floats]) -> list[Floats]:
        """Return the tables that are not on the GPU, and note that the others are used."""
        missing: list[Floats] = []
        for place, table in {id(table): table for table in tables}.items():
            if place in self._kept:
                self._kept.move_to_end(place)
            else:
                missing.append(table)
        return missing

    def _upload_together(self, tables: Sequence[Floats], threads: ThreadPoolExecutor) -> None:
        ends = np.cumsum([table.size for table in tables])
        if len(self._staged) < ends[-1]:
            self._staged = self._empty_pinned(max(int(ends[-1]), _STAGED_BYTES // 8))
        slots = np.split(self._staged[: ends[-1]], ends[:-1])
        list(threads.map(np.copyto, slots, [table.ravel() for table in tables]))
        with self._copies:
            on_gpu = self._cupy.empty(int(ends[-1]))
            on_gpu.set(self._staged[: ends[-1]], stream=self._copies)
        # A copy from such memory goes on by itself: here it has arrived, and the memory is free.
        self._copies.synchronize()
        for table, end in zip(tables, ends.tolist(), strict=True):
            self._kept[id(table)] = on_gpu[end - table.size : end].reshape(table.shape)
            weakref.finalize(table, self._kept.pop, id(table), None).atexit = False

    def _forget(self) -> None:
        """Give up the tables that were not used for the longest time.

        Tables that came together hold all their memory for as long as one of them is kept.
        """
        n_bytes: dict[int, int] = {}
        # A list, for a table that another thread gives up leaves `_kept` at that moment.
        for place, table in reversed(list(self._kept.items())):
            n_bytes[id(table.base)] = table.base.nbytes
            if sum(n_bytes.values()) > _TABLES_SHARE * self._n_bytes:
                self._kept.pop(place, None)


def _ride_bytes(program: Program, batch: RideBatch) -> Indices:
    """Return the memory that each ride's lanes take, and its share of tables that others read."""
    lane_bytes = 8 * (len(program.end_rows) + program.n_ring + 1) * len(batch.profiles)
    readers = np.bincount(batch.table_of, minlength=len(batch.tables))
    shared = np.array([sum(one.nbytes for one in tables) for tables in batch.tables]) // readers
    n_bytes: Indices = lane_bytes + shared[batch.table_of]
    return n_bytes
