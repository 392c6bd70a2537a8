"""The kernel's program for a GPU gives the processor's bits, built by the system's compiler."""

import dataclasses

import numpy as np
import pytest

from plant.cuda.source import Choices
from plant.kernel import ride_on_gpu, simulate
from plant.kernel.gpu_source import ROW_NAMES, kernel_program, kernel_source
from plant.kernel.lane_layout import N_ROWS, RING_SLOTS, WIDTH, R
from plant.kernel.outcomes import Outcome
from plant.kernel.ride_on_gpu import END_ROWS, ride_batch
from plant.kernel.simulate import lay, ride_lanes
from tests import invented_rides
from tests.plant.cuda.host_build import built

RING = [f"ring_{slot}" for slot in range(RING_SLOTS)]
# What is chosen for speed, at its ends.
CHOICES = {
    "registers": Choices(shared_uses=0, reals_in_memory=False, ride_tile=32),
    "shared": Choices(block=32, shared_uses=100, ride_tile=1),
    "in_step": Choices(block=96, in_step=True),
}


def profiles(n_others):
    """Return the profile on which most rides go well, and others around it on which some end."""
    start = invented_rides.profile_row()
    spread = np.random.default_rng(0).uniform(0.4, 1.6, (n_others, len(start)))
    return np.vstack([start, start * spread])


def on_a_weak_pack(ride):
    """Return a ride on a course and a pack of its own, which sags to the drive's cut-out."""
    battery = dataclasses.replace(ride.board.battery, series_resistance_ohm=2.0)
    return dataclasses.replace(
        ride,
        course=dataclasses.replace(ride.course, name="on_a_weak_pack"),
        board=dataclasses.replace(ride.board, battery=battery),
    )


def ended_on_the_processor(profile, ride, n_sub):
    """Return every row of a lane, (row,), in a block of the same lane throughout.

    A block goes on while any of its lanes lives, and what an ended lane senses goes on with it.
    """
    block, _ = ride_lanes(np.repeat(profile[None, :], WIDTH, axis=0), ride, n_sub=n_sub)
    return block.reshape(N_ROWS, WIDTH)[:, 0]


def bits(values):
    return np.ascontiguousarray(values).view(np.uint64)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return the program that gives back every row that a ride changes, and its launch."""
    written = kernel_program(()).written_rows
    program = kernel_program(written)
    return program, built(program, tmp_path_factory.mktemp("whole"))


def test_every_row_of_every_lane_has_the_processors_bits(whole):
    program, launch = whole
    rides, rows = invented_rides.rides(), profiles(3)
    rides.append(on_a_weak_pack(invented_rides.rides(("climb",))[2]))

    found = launch(ride_batch(rows, lay(rides).groups))

    outcomes = set()
    for place, ride in enumerate(rides):
        for candidate, profile in enumerate(rows):
            wanted = ended_on_the_processor(profile, ride, n_sub=1)
            numbers = [R[name] // WIDTH for name in (*program.end_rows, *RING)]
            np.testing.assert_array_equal(
                bits(found[:, candidate, place]), bits(wanted[numbers]), ride.name
            )
            outcomes.add(Outcome(int(wanted[R.outcome // WIDTH])))
    assert len(outcomes) >= 4, outcomes
    assert Outcome.RIDDEN in outcomes


def test_no_row_changes_but_those_found_written(whole):
    program, _ = whole
    ride = invented_rides.rides(("slippery",))[0]
    [group] = lay([ride]).groups
    profile = invented_rides.profile_row()

    ended = ended_on_the_processor(profile, ride, n_sub=1)

    others = set(ROW_NAMES) - set(program.written_rows) - set(RING)
    others -= kernel_source(1).profile_rows
    numbers = [R[name] // WIDTH for name in sorted(others)]
    np.testing.assert_array_equal(bits(ended[numbers]), bits(group.templates[0, numbers]))


def test_sub_steps_have_the_processors_bits(tmp_path):
    program = kernel_program(END_ROWS, 2)
    launch = built(program, tmp_path)
    rides, rows = invented_rides.rides(("kerb",))[:2], profiles(1)

    found = launch(ride_batch(rows, lay(rides, n_sub=2).groups))

    numbers = [R[name] // WIDTH for name in (*END_ROWS, *RING)]
    for place, ride in enumerate(rides):
        for candidate, profile in enumerate(rows):
            wanted = ended_on_the_processor(profile, ride, n_sub=2)[numbers]
            np.testing.assert_array_equal(bits(found[:, candidate, place]), bits(wanted))


@pytest.mark.parametrize("name", CHOICES)
def test_a_simulation_is_the_processors_whatever_is_chosen_for_speed(monkeypatch, tmp_path, name):
    program = kernel_program(END_ROWS, 1, CHOICES[name])
    launch = built(program, tmp_path)
    monkeypatch.setattr(simulate, "require", lambda _: None)
    monkeypatch.setattr(ride_on_gpu, "kernel_program", lambda _rows, _n_sub: program)
    monkeypatch.setattr(ride_on_gpu, "ride", lambda _, batch: launch(batch)[: len(END_ROWS)])
    # Out of the order in which they are laid: two courses in turn, of unlike length.
    rides = [*invented_rides.rides(("hot", "tail_down_uphill")), *invented_rides.rides(("hot",))]
    rides = [rides[place] for place in (5, 0, 8, 3, 6, 1, 11, 4, 2, 7)]
    rows = profiles(34)

    found = simulate.simulate(rows, rides, device="cuda")

    wanted = simulate.simulate(rows, rides)
    np.testing.assert_array_equal(bits(found.metrics), bits(wanted.metrics))
    np.testing.assert_array_equal(found.outcome, wanted.outcome)
    assert len(set(wanted.outcome.ravel())) > 1
