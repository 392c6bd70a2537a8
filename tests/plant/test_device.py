"""What simulates rides is chosen by name; a GPU that is missing is refused, never replaced."""

import sys

import pytest

from plant.cuda.available import CudaMissingError
from plant.device import DEVICES, require
from plant.kernel.simulate import simulate
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
