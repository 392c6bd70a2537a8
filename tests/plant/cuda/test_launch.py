"""A launch gives each lane its own rows back, whatever shares the GPUs with it.

Here the GPUs are pretended ones, whose programs the system's compiler builds.
"""

import contextlib
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from plant.cuda import launch
from plant.cuda.available import CudaMissingError
from plant.cuda.batch import RideBatch
from plant.cuda.program import program
from plant.cuda.source import DEFAULT
from tests.plant.cuda import pretended_cupy
from tests.plant.cuda import small_kernel as small
from tests.plant.cuda.host_build import built, library

CHANGED = ("bias", "speed", "way", "most", "count")
PROGRAM = program(small.source(), CHANGED, DEFAULT)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return library(PROGRAM, tmp_path_factory.mktemp("launched"))


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """Return what rides a batch without the launch that is under test."""
    ridden = built(PROGRAM, tmp_path_factory.mktemp("alone"))
    return lambda batch: ridden(batch)[: len(CHANGED)]


@pytest.fixture(autouse=True)
def other_gpus_afterwards():
    yield
    launch._gpu.cache_clear()


def batch_of(n_rides, n_profiles, seed=0):
    """Return rides, each with a table of its own."""
    random = np.random.default_rng(seed)
    rides = random.normal(size=(n_rides, len(small.ROWS)))
    rides[:, small.ROWS.index("seed")] = random.integers(0, 2**32, n_rides)
    return RideBatch(
        rides=rides,
        profiles=random.normal(size=(n_profiles, len(small.ROWS))),
        tables=[(random.normal(size=(40, 2)),) for _ in range(n_rides)],
        table_of=np.arange(n_rides),
        n_steps=random.integers(1, 23, n_rides),
    )


@pytest.mark.parametrize(("n_gpus", "n_rides"), [(1, 5), (3, 2), (3, 1), (3, 7)])
def test_rides_share_the_gpus_of_a_machine_however_few_they_are(
    monkeypatch, run, alone, n_gpus, n_rides
):
    pretended_cupy.install(monkeypatch, run, n_gpus=n_gpus)
    monkeypatch.setattr(launch, "_LANES_FOR_ANOTHER", 1)
    batch = batch_of(n_rides, 40)

    np.testing.assert_array_equal(launch.ride(PROGRAM, batch), alone(batch))


def test_tables_that_come_one_after_the_other_arrive_whole(monkeypatch, run, alone):
    pretended_cupy.install(monkeypatch, run)
    monkeypatch.setattr(launch, "_STAGED_BYTES", 1000)  # of 640 bytes each
    batch = batch_of(6, 3)

    np.testing.assert_array_equal(launch.ride(PROGRAM, batch), alone(batch))


def test_several_threads_ride_on_one_gpu(monkeypatch, run, alone):
    # So little memory that no table stays.
    pretended_cupy.install(monkeypatch, run, n_bytes=4000)
    batches = [batch_of(6, 3, seed) for seed in range(16)]

    with ThreadPoolExecutor(4) as threads:
        found = list(threads.map(lambda batch: launch.ride(PROGRAM, batch), batches))

    for one, batch in zip(found, batches, strict=True):
        np.testing.assert_array_equal(one, alone(batch))


def test_one_table_that_stays_does_not_hold_the_memory_of_all_that_came_with_it(monkeypatch, run):
    n_bytes = 100_000
    pretended_cupy.install(monkeypatch, run, n_bytes=n_bytes)
    stay = []

    for seed in range(20):
        batch = batch_of(6, 3, seed)
        launch.ride(PROGRAM, batch)
        stay.append(batch.tables[0])
        del batch

    in_use = sum(array.nbytes for array in pretended_cupy.IN_USE.values())
    assert 0 < in_use <= launch._TABLES_SHARE * n_bytes


def test_tables_that_are_brought_ahead_are_not_copied_again(monkeypatch, run, alone):
    pretended_cupy.install(monkeypatch, run)
    batch = batch_of(6, 3)
    launch.bring([table for (table,) in batch.tables])

    def refuse(*_):
        raise AssertionError("a table is copied again")

    monkeypatch.setattr(launch._Gpu, "_upload_together", refuse)

    np.testing.assert_array_equal(launch.ride(PROGRAM, batch), alone(batch))


def test_tables_that_would_fill_the_gpu_are_not_brought_ahead(monkeypatch, run, alone):
    pretended_cupy.install(monkeypatch, run, n_bytes=10_000)
    batches = [batch_of(3, 3, seed) for seed in range(2)]  # 1,920 bytes of tables each

    for batch in batches:
        launch.bring([table for (table,) in batch.tables])

    assert sum(array.nbytes for array in pretended_cupy.IN_USE.values()) == 1920
    for batch in batches:
        np.testing.assert_array_equal(launch.ride(PROGRAM, batch), alone(batch))


def test_tables_that_threads_bring_at_once_fill_no_more_of_the_gpu(monkeypatch, run):
    pretended_cupy.install(monkeypatch, run, n_bytes=10_000)
    batches = [batch_of(3, 3, seed) for seed in range(2)]  # as above, one of them fits
    both = threading.Barrier(2)
    upload = launch._Gpu._upload

    def upload_once_both_would(gpu, tables):
        with contextlib.suppress(threading.BrokenBarrierError):
            both.wait(timeout=0.2)
        upload(gpu, tables)

    monkeypatch.setattr(launch._Gpu, "_upload", upload_once_both_would)

    with ThreadPoolExecutor(2) as threads:
        list(threads.map(lambda batch: launch.bring([one for (one,) in batch.tables]), batches))

    assert sum(array.nbytes for array in pretended_cupy.IN_USE.values()) == 1920


def test_the_next_tables_come_while_a_gpu_rides(monkeypatch, run, alone):
    pretended_cupy.install(monkeypatch, run)
    batches = [batch_of(6, 3, seed) for seed in range(12)]

    with ThreadPoolExecutor(3) as threads:
        bringing = [
            threads.submit(launch.bring, [table for (table,) in batch.tables]) for batch in batches
        ]
        found = [launch.ride(PROGRAM, batch) for batch in batches]
        for each in bringing:
            each.result()

    for one, batch in zip(found, batches, strict=True):
        np.testing.assert_array_equal(one, alone(batch))


def out_of_memory(_shape):
    raise MemoryError("Out of memory allocating 1,024 bytes\n(allocated so far: 0 bytes)")


def no_compiler(**_):
    raise RuntimeError("failed to load libnvrtc")


def unknown_gpu(**_):
    raise pretended_cupy.CompileFaultError("invalid value for --gpu-architecture")


@pytest.mark.parametrize(
    ("name", "fails"),
    [("empty", out_of_memory), ("RawModule", no_compiler), ("RawModule", unknown_gpu)],
)
def test_what_a_gpu_can_not_do_is_told_in_one_line(monkeypatch, run, name, fails):
    cupy = pretended_cupy.install(monkeypatch, run)
    setattr(cupy, name, fails)

    with pytest.raises(CudaMissingError, match="the GPU can not ride") as told:
        launch.ride(PROGRAM, batch_of(2, 3))

    assert "\n" not in str(told.value)
    assert 'device = "cpu" works' in str(told.value)
