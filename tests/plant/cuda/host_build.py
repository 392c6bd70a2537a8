"""The CUDA text of a program, built by the system's C++ compiler and run by the processor.

A header gives CUDA's words a meaning here: the threads of a launch run one after the other. What
the text says is the same; only how it is launched differs.
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
#define __shared__
#define __syncthreads()
#define __launch_bounds__(...)
static struct { int x; } threadIdx, blockIdx, blockDim;
"""
RUNNER = """
volatile double shared[1 << 16];
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
    """Return the program's launch as a function of a batch, which gives (row, profile, ride)."""
    path = folder / "program.cpp"
    path.write_text(HEADER + program.text + RUNNER + _caller(program))
    library = folder / "program.so"
    ended = subprocess.run(
        [compiler(), *FLAGS, path, "-o", library], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stderr[:4000]
    run = ctypes.CDLL(library).run
    run.restype = None
    return lambda batch: _ridden(program, run, batch)


def _caller(program: Program) -> str:
    passed = ["n_lanes", *(f"pointers[{place}]" for place in range(7 + 2 * len(program.tables)))]
    kinds = "int n_blocks, int n_lanes, void **pointers"
    casts = "struct Any { void *at; template <class T> operator T *() const { return (T *)at; } };"
    rest = ", ".join(f"Any{{{one}}}" for one in passed[1:])
    return (
        f'{casts}\nextern "C" void run({kinds}) {{'
        f" launch({ENTRY}, n_blocks, {program.choices.block}, n_lanes, {rest}); }}\n"
    )


def _ridden(program: Program, run, batch: RideBatch):
    ride_of, profile_of = lane_numbers(len(batch.n_steps), batch.profiles.shape[1])
    arrays = [
        ride_of,
        profile_of,
        tiled(batch.rides, program.choices.ride_tile),
        tiled(batch.profiles, TILE),
        batch.n_steps.astype(np.int32),
    ]
    for place in range(len(program.tables)):
        tables = [np.ascontiguousarray(of_ride[place]) for of_ride in batch.tables]
        arrays.append(np.array([table.ctypes.data for table in tables], dtype=np.uint64))
        arrays.append(np.array([len(table) for table in tables], dtype=np.int32))
    n_tiles = -(-batch.n_lanes // TILE)
    rings = np.full((n_tiles, program.n_ring, TILE), np.nan)
    ends = np.full((len(program.end_rows), batch.n_lanes), np.nan)
    arrays += [rings, ends]
    pointers = (ctypes.c_void_p * len(arrays))(*(array.ctypes.data for array in arrays))
    run(-(-batch.n_lanes // program.choices.block), batch.n_lanes, pointers)
    lanes = rings.swapaxes(1, 2).reshape(-1, program.n_ring)[: batch.n_lanes].T
    whole = np.vstack([ends, lanes])
    return whole.reshape(len(whole), len(batch.n_steps), -1).swapaxes(1, 2)
