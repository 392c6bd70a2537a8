import os
import subprocess
import sys
import time
from contextlib import ExitStack, contextmanager

import numpy as np
import pytest
from distributed import Client

from optimizer.base.errors import MachineError, UserInputError
from optimizer.execution import dask_backend
from optimizer.execution.dask_backend import spreading
from optimizer.execution.evaluate import baseline_values, make_evaluate
from optimizer.execution.provenance import model_inputs
from optimizer.execution.reference_ride import ridden_here
from optimizer.study.load import load_study
from plant.cuda.available import CudaMissingError
from tests.optimizer.analytic import SMALL_BASELINE, narrow
from tests.optimizer.small_study import STEEP, write_small_study

LOOPBACK = ("--host", "127.0.0.1", "--no-dashboard")


def start(stack, *arguments):
    process = stack.enter_context(
        subprocess.Popen(
            [sys.executable, "-m", "dask", *map(str, arguments)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
    )
    stack.callback(process.kill)
    return process


def start_worker(stack, address):
    return start(stack, "worker", address, "--nthreads", 1, "--no-nanny", *LOOPBACK)


@contextmanager
def running(folder):
    """Give the address of a scheduler with two workers, each a process, and the workers."""
    contact = folder / "scheduler.json"
    with ExitStack() as stack:
        start(stack, "scheduler", "--port", 0, "--scheduler-file", contact, *LOOPBACK)
        while not contact.exists():
            time.sleep(0.02)
        with Client(scheduler_file=str(contact), set_as_default=False) as client:
            address = client.scheduler.address
            workers = [start_worker(stack, address) for _ in range(2)]
            client.wait_for_workers(2)
        yield address, workers


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    with running(tmp_path_factory.mktemp("cluster")) as address_and_workers:
        yield address_and_workers


def points(n_candidates):
    rng = np.random.default_rng(8)
    return rng.uniform([1.0, 0.1, -1.0], [9.0, 1000.0, 1.0], size=(n_candidates, 3))


def new_reference(number):
    """Return a candidate for one test alone: a worker remembers on which it has agreed."""
    return points(number + 1)[number]


class Slow:
    """Rides slowly, and leaves a mark for each worker that has begun."""

    def __init__(self, folder):
        self.folder = folder

    def __call__(self, values):
        with (self.folder / str(os.getpid())).open("a") as file:
            file.write("x" * len(values))
        time.sleep(0.3)
        return narrow(values)


def assert_same(found, expected):
    for name in ("objectives", "constraints", "rides"):
        np.testing.assert_array_equal(getattr(found, name), getattr(expected, name))


def test_a_worker_killed_in_mid_generation_loses_nothing(tmp_path):
    marks = tmp_path / "marks"
    marks.mkdir()
    values = points(48)

    with running(tmp_path) as (address, (first, second)), ExitStack() as stack:
        script = (
            f"while [ ! -s {marks / str(first.pid)} ]; do sleep 0.02; done; kill -9 {first.pid}"
        )
        stack.enter_context(subprocess.Popen(["sh", "-c", script]))
        with spreading(address) as spread:
            found = spread(Slow(marks), SMALL_BASELINE)(values)
        assert first.wait() == -9
        assert second.poll() is None

    riders = {int(mark.name) for mark in marks.iterdir()}
    assert riders - {os.getpid()} == {first.pid, second.pid}
    assert_same(found, narrow(values))


def test_a_worker_without_a_gpu_says_what_it_lacks():
    def lost(_values):
        raise CudaMissingError('device = "cuda" needs an NVIDIA GPU, and none is found here')

    with pytest.raises(MachineError, match=r"a worker of the cluster: .* needs an NVIDIA GPU"):
        dask_backend._ride(lost, points(1), model_inputs(), ridden_here(narrow, points(1)[0]))


def test_each_worker_gets_a_share_though_one_would_ride_all_at_once(cluster, tmp_path):
    address, workers = cluster
    values = points(8)

    with spreading(address) as spread:
        found = spread(Slow(tmp_path), new_reference(1), n_at_once=1000)(values)

    riders = {int(mark.name) for mark in tmp_path.iterdir() if mark.name.isdigit()}
    assert riders - {os.getpid()} == {worker.pid for worker in workers}
    assert_same(found, narrow(values))


@pytest.mark.slow
def test_rides_on_the_workers_are_those_of_this_machine_bit_by_bit(cluster, tmp_path):
    study = load_study(write_small_study(tmp_path / "study", *STEEP))
    rng = np.random.default_rng(4)
    values = rng.uniform(study.space.low, study.space.high, size=(9, len(study.space.low)))
    values[0] = baseline_values(study)
    ride = make_evaluate(study, screening=(2, 4))

    with spreading(cluster[0]) as spread:
        assert_same(spread(ride, values[0])(values), ride(values))


@pytest.mark.slow
def test_the_command_ends_with_the_tables_of_one_machine(levelgain, cluster, tmp_path):
    here, there = (write_small_study(tmp_path / name, *STEEP) for name in ("here", "there"))

    assert levelgain("run", here)[0] == 0
    assert levelgain("run", there, "--cluster", cluster[0])[0] == 0

    table = "results/candidates.csv"
    assert (there / table).read_bytes() == (here / table).read_bytes()


@pytest.mark.parametrize("key", ["model.digest", "library.numpy"])
def test_a_worker_with_another_model_or_library_is_refused(cluster, monkeypatch, key):
    monkeypatch.setattr(
        "optimizer.execution.dask_backend.model_inputs", lambda: model_inputs() | {key: "another"}
    )

    with (
        spreading(cluster[0]) as spread,
        pytest.raises(UserInputError, match=f"a worker of the cluster has another {key}"),
    ):
        spread(narrow, SMALL_BASELINE)(points(4))


class Otherwise:
    """Rides to other last digits in every process but the one that made it."""

    def __init__(self):
        self.home = os.getpid()

    def __call__(self, values):
        evaluation = narrow(values)
        if os.getpid() != self.home:
            np.nextafter(evaluation.objectives, 9.0, out=evaluation.objectives)
        return evaluation


def test_a_worker_that_calculates_otherwise_is_refused(cluster):
    with (
        spreading(cluster[0]) as spread,
        pytest.raises(UserInputError, match="differ in their last digits"),
    ):
        spread(Otherwise(), new_reference(2))(points(4))


def test_a_worker_rides_the_reference_once(cluster, tmp_path):
    marks = tmp_path / "marks"
    marks.mkdir()
    with spreading(cluster[0]) as spread:
        ride = spread(Slow(marks), new_reference(3))
        for _ in range(2):
            ride(points(8))

    n_riders = len(list(marks.iterdir()))
    n_ridden = sum(len(mark.read_text()) for mark in marks.iterdir())
    assert n_ridden == 2 * 8 + n_riders


def test_what_fails_outside_the_riding_keeps_its_own_name(cluster):
    with pytest.raises(OSError, match="of the study"), spreading(cluster[0]):
        raise OSError("a fault of the study's own disk")


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "no address"])
def test_a_cluster_that_is_not_there_is_one_line(address, monkeypatch):
    monkeypatch.setattr("optimizer.execution.dask_backend._PATIENCE_S", 1)

    with (
        pytest.raises(UserInputError, match=f"^{address}: ") as refusal,
        spreading(address),
    ):
        pass
    assert "\n" not in str(refusal.value)
