"""Rides laid ahead are the same rides in the same order, whoever lays them."""

import functools
import signal

import numpy as np
import pytest

from optimizer.base.errors import FileError
from optimizer.riding_day import laid_ahead as ahead
from optimizer.validation.nose_down_rate import drawn_batch, rides_at
from plant.kernel.simulate import laid_together, lay, simulate
from tests.optimizer.validation.profiles import ROW, STUDY

BATCHES = [np.array(numbers) for numbers in ([0, 1], [2], [3], [5, 4])]


def laid(n_jobs, n_together=2, draw=drawn_batch):
    return list(
        ahead.laid_ahead(
            functools.partial(draw, STUDY),
            BATCHES,
            n_courses=6,
            n_together=n_together,
            n_jobs=n_jobs,
        )
    )


def arrays(rounds):
    """Return all that was laid, as bytes."""
    return [
        (
            numbers.tolist(),
            group.places.tolist(),
            group.tables.n_steps,
            group.tables.road.tobytes(),
            group.tables.script.tobytes(),
            group.templates.tobytes(),
        )
        for together in rounds
        for numbers, rides in together
        for group in rides.groups
    ]


def test_batches_come_in_order_and_together():
    rounds = laid(1, n_together=3)

    assert [len(together) for together in rounds] == [3, 1]
    assert [numbers.tolist() for together in rounds for numbers, _ in together] == [
        numbers.tolist() for numbers in BATCHES
    ]


def ignoring_interrupts(study, numbers):
    """Draw a batch, and say whether Ctrl-C does nothing to the process that draws."""
    rides, _ = drawn_batch(study, numbers)
    return rides, signal.getsignal(signal.SIGINT) is signal.SIG_IGN


@pytest.fixture
def two_processes(monkeypatch):
    monkeypatch.setattr(ahead, "_WORTH_PROCESSES", 1)
    monkeypatch.setattr(ahead, "_FEWEST_PROCESSES", 2)


def test_threads_lay_the_same():
    assert arrays(laid(2)) == arrays(laid(1))


@pytest.mark.slow
@pytest.mark.usefixtures("two_processes")
def test_processes_lay_the_same_and_leave_ctrl_c_to_the_one_that_started_them():
    assert arrays(laid(2)) == arrays(laid(1))

    rounds = laid(2, draw=ignoring_interrupts)

    assert [ignored for together in rounds for ignored, _ in together] == [True] * len(BATCHES)


def test_a_disk_that_takes_nothing_is_told_in_one_line(tmp_path):
    draw = functools.partial(drawn_batch, STUDY)

    with pytest.raises(FileError, match="gone: it can not be written") as refused:
        ahead._laid_into(draw, np.array([0]), tmp_path / "gone")

    assert "\n" not in str(refused.value)


def test_a_caller_that_has_enough_leaves_the_rest():
    drawn = []

    def noted(numbers):
        drawn.append(numbers.tolist())
        return drawn_batch(STUDY, numbers)

    rounds = ahead.laid_ahead(noted, BATCHES, n_courses=6, n_together=1, n_jobs=2)

    next(rounds)
    rounds.close()

    assert drawn == [[0, 1], [2]]


def test_laid_rides_ride_as_rides_do_together_apart_and_some_of_them():
    first, second = (rides_at(STUDY, [(number, lane) for lane in range(3)]) for number in (7, 8))
    whole = simulate(ROW[None, :], first + second)
    together = laid_together([lay(first), lay(second)])
    some = np.array([4, 0, 5])

    np.testing.assert_array_equal(simulate(ROW[None, :], together).metrics, whole.metrics)
    np.testing.assert_array_equal(
        simulate(ROW[None, :], together.only(some)).metrics, whole.metrics[:, some]
    )
    assert len(together.only(some)) == 3


def test_processes_start_only_where_they_pay(monkeypatch):
    started = []
    monkeypatch.setattr(ahead, "_load_in_processes", started.append)

    ahead.start_processes(n_courses=100, n_together=32, n_jobs=16)
    ahead.start_processes(n_courses=10_000, n_together=32, n_jobs=2)
    ahead.start_processes(n_courses=10_000, n_together=1, n_jobs=16)
    ahead.start_processes(n_courses=10_000, n_together=32, n_jobs=16)
    ahead.start_processes(n_courses=10_000, n_together=8, n_jobs=16)

    assert started == [16, 8]
