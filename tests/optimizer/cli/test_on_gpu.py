"""What reaches a GPU, and that a study ends the same on it: a processor stands in for the GPU.

What a real GPU calculates is tested where the kernel's translation is.
"""

import json

import pytest

from optimizer.execution import devices
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.study.load import load_study
from plant.cuda.available import CudaMissingError
from plant.kernel import simulate as door
from plant.kernel.simulate import LaidRides
from tests.optimizer.cli.test_commands import one_line
from tests.optimizer.small_study import SHORT_RIDES, STEEP, write_small_study


@pytest.fixture
def gpu(monkeypatch):
    """Let a processor stand in for the GPU, and return the shape of all it is given to ride."""
    given = []

    def ride(profiles, groups, *, n_sub):
        laid = LaidRides(groups=tuple(groups), n_sub=n_sub)
        given.append((len(profiles), len(laid)))
        rides = door.simulate(profiles, laid, n_jobs=2)
        return rides.metrics, rides.outcome

    for module in (devices, door):
        monkeypatch.setattr(module, "require", lambda _device: None)
    monkeypatch.setattr(door, "ride_on_gpu", ride)
    return given


@pytest.mark.slow
def test_a_search_on_a_gpu_ends_with_the_bytes_of_one_on_the_processor(levelgain, gpu, tmp_path):
    here, there = (write_small_study(tmp_path / name, *STEEP) for name in ("cpu", "cuda"))

    assert levelgain("run", here)[0] == 0
    assert not gpu
    code, out, _ = levelgain("run", there, "--device", "cuda", "--json")

    assert code == 0
    assert json.loads(out)["device"] == "cuda"
    for name in ("candidates.csv", "front.csv"):
        assert (there / "results" / name).read_bytes() == (here / "results" / name).read_bytes()
    n_rides = len(with_hard_rides(load_study(there)).all_rides)
    generations = [n_profiles for n_profiles, given in gpu if given == n_rides]
    assert generations[:3] == [12, 12, 12]  # whole, and not one stage after the other
    assert levelgain("resume", there, "--candidates", "48")[0] == 0  # by the processor


@pytest.mark.slow
def test_a_validation_on_a_gpu_says_the_same(levelgain, gpu, tmp_path):
    folder = write_small_study(tmp_path, SHORT_RIDES)

    facts = {
        device: json.loads(
            levelgain("validate", folder, "--hours", "4", "--json", "--force", "--device", device)[
                1
            ]
        )
        for device in ("cpu", "cuda")
    }

    assert {facts[device]["provenance"].pop("device") for device in facts} == {"cpu", "cuda"}
    assert facts["cuda"] == facts["cpu"]
    assert (1, 2048) in gpu  # two batches of the riding day in one call


def test_a_gpu_that_fails_while_it_rides_is_one_line(levelgain, gpu, tmp_path, monkeypatch):
    def fails(*_, **__):
        raise CudaMissingError('device = "cuda": the GPU can not ride')

    monkeypatch.setattr(door, "ride_on_gpu", fails)
    folder = write_small_study(tmp_path)

    assert "can not ride" in one_line(*levelgain("check", folder, "--device", "cuda"))
    assert not gpu
