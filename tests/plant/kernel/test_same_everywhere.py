"""Rides give the same bits on every kind of processor, held by a table of digests."""

import os
import pathlib
import subprocess
import sys

import numpy as np
import pytest

from plant.kernel.outcomes import Outcome
from tests.plant import ride_digests

ROOT = pathlib.Path(__file__).parents[3]
# Kinds for which LLVM packs and schedules in other ways: AVX2 of two makers, and AVX-512. The
# features of the machine at hand do not count where they are named.
KINDS = {
    "haswell": "+avx2,+fma",
    "znver2": "+avx2,+fma",
    "skylake-avx512": "+avx512f,+avx512dq,+avx512vl,+fma",
}
NUMPY_KINDS = [
    pytest.param("X86_V4 AVX512_ICL AVX512_SPR", marks=pytest.mark.proof, id="no AVX-512"),
    pytest.param("X86_V3 X86_V4 AVX512_ICL AVX512_SPR", id="no AVX2"),
]


def table_of_a_process(**settings):
    """Return the table as a Python process with such settings makes it."""
    made = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "tests.plant.ride_digests", "--print"],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)} | settings,
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stderr
    return made.stdout


def kept():
    """Return the table as it is kept."""
    return ride_digests.TABLE.read_text(encoding="utf-8")


def test_rides_and_traces_give_the_bits_that_are_kept():
    assert ride_digests.table().splitlines() == kept().splitlines()


@pytest.mark.parametrize("features", NUMPY_KINDS)
def test_numpy_and_blas_of_another_kind_of_processor_change_no_bit(features):
    made = table_of_a_process(NPY_DISABLE_CPU_FEATURES=features, OPENBLAS_CORETYPE="Prescott")

    assert made.splitlines() == kept().splitlines()


@pytest.mark.parametrize(
    "kind",
    [
        # Each compiles the kernel again; most machines are themselves of one of these kinds.
        pytest.param("haswell", marks=pytest.mark.slow),
        pytest.param("skylake-avx512", marks=pytest.mark.proof),
        pytest.param("znver2", marks=pytest.mark.proof),
    ],
)
def test_the_kernel_compiled_for_another_kind_of_processor_changes_no_bit(
    compiled_for_others, kind
):
    made = table_of_a_process(
        NUMBA_CPU_NAME=kind, NUMBA_CPU_FEATURES=KINDS[kind], XDG_CACHE_HOME=str(compiled_for_others)
    )

    assert made.splitlines() == kept().splitlines()


def test_the_kept_rides_end_in_many_ways_and_move_every_searched_setting():
    outcomes, moved = set(), set()
    for name in ride_digests.STUDIES:
        study = ride_digests.load_study(ride_digests.STUDIES_FOLDER / name)
        profiles = ride_digests.profiles_of(study)
        moved |= set(np.array(ride_digests.PROFILE_NAMES)[np.ptp(profiles, axis=0) > 0.0])
        for _, _, _, results in ride_digests.ridden(name):
            outcomes |= set(results.outcome.ravel().tolist())

    assert outcomes >= {
        Outcome.RIDDEN,
        Outcome.NOSE_DOWN,
        Outcome.RIDER_OFF,
        Outcome.SPEED_LOST,
    }
    assert moved == set(ride_digests.PROFILE_NAMES)
