"""What the compiler made of the kernel: packed and scalar instructions, counted."""

import collections
import re

import numba

from plant.kernel.ride_block import ride_block
from plant.kernel.simulate import simulate
from tests import invented_rides

_ARITHMETIC = re.compile(r"v?(add|sub|mul|div|sqrt|min|max|fn?m(add|sub)\d*)(pd|sd)")
_REGISTERS = {"zmm": 8, "ymm": 4, "xmm": 2}


def kernel_assembly() -> str:
    """Return the assembly of the kernel, compiled afresh: numba shows none for kept code."""
    stand = invented_rides.rides(("stand",))[:1]
    simulate(invented_rides.profile_row()[None, :], stand)
    fresh = numba.njit(
        ride_block.py_func,  # type: ignore[attr-defined]
        error_model="numpy",
        nogil=True,
    )
    fresh.compile(ride_block.signatures[0])  # type: ignore[attr-defined]
    return str(fresh.inspect_asm(fresh.signatures[0]))


def arithmetic(assembly: str) -> collections.Counter[tuple[str, int]]:
    """Count double-precision arithmetic by operation and number of lanes in the register."""
    counts: collections.Counter[tuple[str, int]] = collections.Counter()
    for line in assembly.splitlines():
        words = line.split(maxsplit=1)
        matched = _ARITHMETIC.fullmatch(words[0]) if len(words) == 2 else None
        if matched:
            width = next(lanes for name, lanes in _REGISTERS.items() if name in words[1])
            counts[matched.group(1), width if matched.group(3) == "pd" else 1] += 1
    return counts
