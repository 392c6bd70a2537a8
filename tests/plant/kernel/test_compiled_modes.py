"""The kernel as plain Python, with bounds checked, and its cache: each in a process of its own."""

import json
import os
import pathlib
import re
import shutil
import subprocess
import sys

import numpy as np
import pytest

from plant.compile import CACHE_FOLDER
from plant.kernel.simulate import simulate
from tests import invented_rides

ROOT = pathlib.Path(__file__).parents[3]
# Tests that call functions of one lane; those of whole rides would take minutes.
SCALAR_FILES = ("bodies", "motor", "pack", "road_load", "noise")
SCALAR_TESTS = (
    "kanes or catalogued or base_speed or textbook or rest_voltage or worked_example or bit_for_bit"
)
RIDE = """
import json
from tests.plant.kernel.test_compiled_modes import short_metrics
print(json.dumps(short_metrics()))
"""


def short_metrics():
    """Return outcome and metrics of each ride of a twentieth of a second, as nested lists."""
    courses = [
        invented_rides.course(
            name,
            invented_rides.road(invented_rides.COBBLES),
            invented_rides.manoeuvre(0.05, speed, start=start),
        )
        for name, speed, start in (
            ("rolling", ((0.0, 4.0),), "rolling"),
            ("tail_down", ((0.0, 0.0),), "tail_down"),
        )
    ]
    ridden = simulate(
        invented_rides.profile_row()[None, :], [invented_rides.ride(course) for course in courses]
    )
    return np.column_stack([ridden.outcome[0], ridden.metrics[0]]).tolist()


def run(arguments, cache_folder, **flags):
    """Run a Python process on this project with flags of its compiler."""
    ran = subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env=os.environ | {"XDG_CACHE_HOME": str(cache_folder), "PYTHONPATH": str(ROOT)} | flags,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout


def test_plain_python_rides_like_the_compiled_kernel(tmp_path):
    plain = json.loads(run(["-W", "ignore", "-c", RIDE], tmp_path, NUMBA_DISABLE_JIT="1"))

    np.testing.assert_array_equal(plain, short_metrics())


@pytest.mark.proof  # in plain Python numpy checks each index of the same rides
def test_no_index_of_the_compiled_kernel_leaves_its_array(tmp_path):
    checked = json.loads(run(["-c", RIDE], tmp_path, NUMBA_BOUNDSCHECK="1"))

    np.testing.assert_array_equal(checked, short_metrics())


def test_scalar_physics_passes_its_checks_as_plain_python(tmp_path):
    files = [f"tests/plant/physics/test_{name}.py" for name in SCALAR_FILES]
    chosen = ["-m", "pytest", "-q", "-p", "no:cacheprovider"]

    out = run([*chosen, "-k", SCALAR_TESTS, *files], tmp_path, NUMBA_DISABLE_JIT="1")

    assert int(re.search(r"(\d+) passed", out).group(1)) > 60


def test_machine_code_is_kept_by_its_sources_and_read_by_the_next_process(tmp_path):
    short_metrics()
    folder = tmp_path / "levelgain" / CACHE_FOLDER.name
    folder.mkdir(parents=True)
    for path in CACHE_FOLDER.glob("*.code"):
        shutil.copy(path, folder)
    kept = {path: path.stat().st_mtime_ns for path in folder.glob("*.code")}

    ridden = json.loads(run(["-W", "ignore", "-c", RIDE], tmp_path))

    assert any("ride_block" in path.name for path in kept)
    assert {path: path.stat().st_mtime_ns for path in folder.glob("*.code")} == kept
    np.testing.assert_array_equal(ridden, short_metrics())
