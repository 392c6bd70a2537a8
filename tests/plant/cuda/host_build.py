"""The CUDA text of a program, built by the system's C++ compiler and run by the processor.

A header gives CUDA's words a meaning here: the threads of a launch run one after the other, and
several launches may be under way at once, each in a thread of its own. What the text says is the
same; only how it is launched differs.
"""

import ctypes
import os
import shutil
import subprocess

import numpy as np
import pytest

from plant.cuda.batch import RideBatch, lane_numbers, tiled
from plant.cuda.program import ENTRY, Program
from plant.cuda.values import TILE

HEADER = """
#include <cassert>
#include <cmath>
#include <cstddef>
using std::floor, std::fma, std::sqrt, std::size_t;
#define __device__
#define __forceinline__ inline __attribute__((always_inline))
#define __global__
#define __constant__ static const
#define __shared__ thread_local
#define __syncthreads()
#define __launch_bounds__(...)
static thread_local struct { int x; } threadIdx, blockIdx, blockDim;
"""
RUNNER = """
thread_local volatile double shared[1 << 16];
template <class... Given, class... Passed>
void launch(void (*kernel)(Given...), int n_blocks, int block, Passed... passed) {
  blockDim.x = block;
  for (blockIdx.x = 0; blockIdx.x < n_blocks; ++blockIdx.x)
    for (threadIdx.x = 0; threadIdx.x < block; ++threadIdx.x) kernel(Given(passed)...);
}
"""
# Neither fused nor reordered beyond what the text says.
FLAGS = ("-std=c++17", "-O2", "-ffp-contract=off", "-mfma", "-shared", "-fPIC", "-Wall", "-Werror")


def compiler():
    """Return the compiler; where CI is set its absence is a failure, elsewhere a skip."""
    found = shutil.which("g++")
    if found is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no C++ compiler (g++) here")
    return found


def built(program: Program, folder):
    """Return the program's launch: from a batch to its ends and rings, (row, profile, ride)."""
    run = library(program, folder)
    return lambda batch: _ridden(program, run, batch)


def library(program: Program, folder):
    """Return the built program: a function of blocks, lanes, rides and what `passed` returns."""
    path = folder / "program.cpp"
    path.write_text(HEADER + program.text + RUNNER + _caller(program))
    made = folder / "program.so"
    ended = subprocess.run(
        [compiler(), *FLAGS, path, "-o", made], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stderr[:4000]
    run = ctypes.CDLL(made).run
    run.restype = None
    return run


def passed(arrays):
    """Return where arrays stand in memory, as the built program takes them."""
    return (ctypes.c_void_p * len(arrays))(*(array.ctypes.data for array in arrays))


def _caller(program: Program) -> str:
    kinds = "int n_blocks, int n_lanes, int n_rides, void **pointers"
    casts = "struct Any { void *at; template <class T> operator T *() const { return (T *)at; } };"
    rest = ", ".join(f"Any{{pointers[{place}]}}" for place in range(7 + 2 * len(program.tables)))
    block = program.choices.block
    return (
        f'{casts}\nextern "C" void run({kinds}) {{'
        f" launch({ENTRY}, n_blocks, {block}, n_lanes, n_rides, {rest}); }}\n"
    )


def _ridden(program: Program, run, batch: RideBatch):
    width = program.choices.ride_tile
    arrays = [
        *lane_numbers(batch.n_steps, len(batch.profiles)),
        tiled(np, batch.rides[:, program.ride_numbers], width),
        tiled(np, batch.profiles[:, program.profile_numbers], TILE),
        batch.n_steps.astype(np.int32),
    ]
    held = [[np.ascontiguousarray(one) for one in tables] for tables in batch.tables]
    for place in range(len(program.tables)):
        pointers = np.array([tables[place].ctypes.data for tables in held], dtype=np.uint64)
        n_rows = np.array([len(tables[place]) for tables in held], dtype=np.int32)
        arrays += [pointers[batch.table_of], n_rows[batch.table_of]]
    ring = np.full((-(-batch.n_lanes // TILE), program.n_ring, TILE), np.nan)
    ends = np.full((len(program.end_rows), len(batch.profiles), len(batch.rides)), np.nan)
    arrays += [ring, ends]
    n_blocks = -(-batch.n_lanes // program.choices.block)
    run(n_blocks, batch.n_lanes, len(batch.rides), passed(arrays))
    slots = np.full((program.n_ring, *ends.shape[1:]), np.nan)
    lanes = ring.swapaxes(0, 1).reshape(program.n_ring, -1)[:, : batch.n_lanes]
    slots[:, arrays[1], arrays[0]] = lanes
    return np.concatenate([ends, slots])
