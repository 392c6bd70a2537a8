"""What simulates rides is chosen by name; a GPU that is missing is refused, never replaced."""

import sys

import numpy as np
import pytest

from plant.cuda.available import CudaMissingError
from plant.device import DEVICES, require
from plant.kernel import simulate as door
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.simulate import lay, simulate
from tests import invented_rides


def test_the_processor_is_always_there():
    require("cpu")

    assert DEVICES[0] == "cpu"


def test_another_name_is_refused_with_those_allowed():
    with pytest.raises(ValueError, match="one of cpu, cuda, got 'gpu'"):
        require("gpu")


def test_no_ride_takes_place_of_a_ride_on_a_missing_gpu(monkeypatch):
    monkeypatch.setitem(sys.modules, "cupy", None)
    ride = invented_rides.ride(invented_rides.courses()["overspeed"])

    with pytest.raises(CudaMissingError, match='device = "cpu"'):
        simulate(invented_rides.profile_row()[None, :], [ride], device="cuda")


@pytest.mark.parametrize(("n_profiles", "n_rides"), [(0, 2), (3, 0)])
@pytest.mark.parametrize("device", DEVICES)
def test_nothing_to_ride_gives_no_results_on_any_device(monkeypatch, device, n_profiles, n_rides):
    monkeypatch.setattr(door, "require", lambda _device: None)
    profiles = np.tile(invented_rides.profile_row(), (n_profiles, 1))
    laid = lay(invented_rides.rides(("hot",))).only(np.arange(n_rides))

    ridden = simulate(profiles, laid, device=device)

    assert ridden.metrics.shape == (n_profiles, n_rides, len(METRIC_NAMES))
    assert ridden.outcome.shape == (n_profiles, n_rides)
