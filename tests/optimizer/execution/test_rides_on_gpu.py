"""Rides of every study and of the riding day are the same on a GPU, bit by bit.

The GPU's program is built by the system's compiler for the processor.
"""

from pathlib import Path

import numpy as np
import pytest

from optimizer.study.load import load_study
from optimizer.validation.nose_down_rate import drawn_batch
from plant.description.profile_array import profile_to_array
from plant.kernel import ride_on_gpu, simulate
from plant.kernel.gpu_source import kernel_program
from plant.kernel.ride_on_gpu import END_ROWS
from tests.plant.cuda.host_build import built

STUDIES = Path(__file__).parents[3] / "studies"
NAMES = sorted(path.parent.name for path in STUDIES.glob("*/study.toml"))


@pytest.fixture(scope="module")
def launch(tmp_path_factory):
    return built(kernel_program(END_ROWS), tmp_path_factory.mktemp("program"))


@pytest.fixture(autouse=True)
def gpu(launch, monkeypatch):
    """Let the processor stand for a GPU; its launches are of the GPU's program."""
    monkeypatch.setattr(simulate, "require", lambda _: None)
    monkeypatch.setattr(ride_on_gpu, "ride", lambda _, batch: launch(batch)[: len(END_ROWS)])


def assert_same(profiles, rides):
    on_gpu = simulate.simulate(profiles, rides, device="cuda")
    wanted = simulate.simulate(profiles, rides)

    np.testing.assert_array_equal(on_gpu.metrics.view(np.uint64), wanted.metrics.view(np.uint64))
    np.testing.assert_array_equal(on_gpu.outcome, wanted.outcome)


@pytest.mark.parametrize("name", NAMES)
def test_every_ride_of_a_study_is_the_same(name):
    study = load_study(STUDIES / name)

    assert_same(profile_to_array(study.baseline)[None, :], study.all_rides)


def test_rides_of_the_riding_day_are_the_same():
    study = load_study(STUDIES / "hill_town")
    rides, _ = drawn_batch(study, np.array([3]))

    assert_same(profile_to_array(study.baseline)[None, :], rides)
