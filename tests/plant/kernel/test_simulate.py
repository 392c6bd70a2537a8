"""The door to the kernel: what a ride's result depends on, and what it refuses."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.description.board import Board
from plant.description.cells import CELL_OCV_V
from plant.description.course import Start
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES
from plant.description.quantity import quantities
from plant.description.rider import Rider
from plant.kernel import simulate as door
from plant.kernel.lane_layout import WIDTH, R
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import ride_lanes, simulate
from tests import invented_rides
from tests.plant import rig

ROW = invented_rides.profile_row()


def short(name, *, duration_s=1.0, **options):
    """Return a second of one of the courses' roads."""
    whole = invented_rides.courses()[name]
    manoeuvre = dataclasses.replace(
        whole.manoeuvre, duration_s=duration_s, hold_s=((0.2, 1.0),), count_s=((0.2, 1.0),)
    )
    return dataclasses.replace(whole, manoeuvre=dataclasses.replace(manoeuvre, **options))


RIDES = [
    invented_rides.ride(course, mass_kg, noise_seed=seed)
    for seed, (course, mass_kg) in enumerate(
        (course, mass_kg)
        for course in (short("cobbles"), short("kerb"), short("slippery"))
        for mass_kg in invented_rides.BODIES
    )
]
PROFILES = ROW * np.random.default_rng(7).uniform(0.8, 1.2, (5, ROW.size))


@pytest.fixture(scope="module")
def alone():
    """Return the metrics of each profile on each ride, ridden one by one."""
    return np.array(
        [[simulate(row[None, :], [ride]).metrics[0, 0] for ride in RIDES] for row in PROFILES]
    )


@given(data=st.data())
@settings(max_examples=15)
def test_a_ride_is_bit_identical_alone_in_any_batch_in_any_order_on_any_threads(alone, data):
    chosen = data.draw(st.lists(st.sampled_from(range(len(RIDES))), min_size=1, max_size=12))
    candidates = data.draw(st.lists(st.sampled_from(range(len(PROFILES))), min_size=1, max_size=9))
    n_jobs = data.draw(st.sampled_from([1, 2, 3]))
    keep_roads = data.draw(st.booleans())

    together = simulate(
        PROFILES[candidates],
        [RIDES[ride] for ride in chosen],
        n_jobs=n_jobs,
        keep_roads=keep_roads,
    )

    np.testing.assert_array_equal(together.metrics, alone[np.ix_(candidates, chosen)])


def test_another_noise_seed_is_another_ride():
    ride = RIDES[0]
    other = dataclasses.replace(ride, noise_seed=ride.noise_seed + 1)

    metrics = simulate(ROW[None, :], [ride, other]).metrics[0]

    assert not np.array_equal(metrics[0], metrics[1])


def test_inputs_are_not_changed():
    profiles = PROFILES.copy()

    simulate(profiles, RIDES[:2])

    np.testing.assert_array_equal(profiles, PROFILES)


def test_shapes_are_candidate_ride_metric():
    rides = simulate(PROFILES, RIDES[:3])

    assert rides.metrics.shape == (5, 3, len(METRIC_NAMES))
    assert rides.outcome.shape == (5, 3)
    assert rides.outcome.dtype == np.int8
    np.testing.assert_array_equal(
        rides.column("peak_current_a"), rides.metrics[..., METRIC_NAMES.index("peak_current_a")]
    )


def test_an_ended_ride_stands_still_while_its_neighbours_ride_on():
    # Smooth, as a longer ride is laid on a longer road with bumps of its own.
    smooth = invented_rides.road(invented_rides.surface(0.012, 0.8, 0.0))
    overspeed = dataclasses.replace(invented_rides.courses()["overspeed"], road=smooth)
    rides = [invented_rides.ride(overspeed, mass_kg) for mass_kg in (62.0, 105.0)]
    longer = dataclasses.replace(
        overspeed, manoeuvre=dataclasses.replace(overspeed.manoeuvre, duration_s=12.0)
    )

    ridden = simulate(ROW[None, :], rides)
    later = simulate(ROW[None, :], [dataclasses.replace(ride, course=longer) for ride in rides])

    assert set(ridden.outcome[0]) == {Outcome.NOSE_DOWN}
    assert np.all(ridden.column("ride_time_s") < 8.0)
    np.testing.assert_array_equal(ridden.metrics, later.metrics)


def test_the_plant_of_an_ended_ride_is_frozen_at_its_end():
    ride = invented_rides.ride(invented_rides.courses()["overspeed"])
    names = ("distance_m", "speed_mps", "pitch_rad", "lean_rad", "current_a", "charge_ratio_now")

    buffer, record = ride_lanes(
        np.tile(ROW, (WIDTH, 1)), ride, probe=(tuple(R[name] for name in names), 1)
    )

    rows = buffer.reshape(-1, WIDTH)
    n_ridden = int(np.count_nonzero(np.isfinite(record[:, 0, 0])))
    assert n_ridden + 1 == round(rows[R.ride_time_s // WIDTH, 0] * 1000)
    for place, name in enumerate(names[:-1]):
        last = record[n_ridden - 1, place, 0]
        step = abs(last - record[n_ridden - 2, place, 0])
        assert rows[R[name] // WIDTH, 0] == pytest.approx(last, abs=3.0 * step + 1e-9)


def test_a_lane_that_leaves_the_numbers_ends_alone_with_its_reason():
    lost = np.zeros(WIDTH)
    lost[3] = np.nan

    alone = rig.run({"yaw_rate_radps": 0.0}, seconds=0.5)
    ridden = rig.run({"yaw_rate_radps": lost}, seconds=0.5)

    assert ridden.outcome[3] is Outcome.OUTSIDE_MODEL
    for name in ("pitch_rad", "distance_m", "peak_a", "energy_j"):
        np.testing.assert_array_equal(np.delete(ridden.end[name], 3), alone.end[name][:-1])


def allowed(section):
    """Return a strategy for the numbers of a section of profile, board or rider."""
    return st.fixed_dictionaries(
        {
            declared.name: st.one_of(
                st.sampled_from([declared.low, declared.high]),
                st.floats(declared.low, declared.high),
            )
            for declared in quantities(section)
        }
    )


def whole(kind):
    """Return a strategy for the sections of a dataclass, as their types and values."""
    return st.fixed_dictionaries(
        {field.name: allowed(field.type) for field in dataclasses.fields(kind)}
    )


STEEP = dataclasses.replace(
    short("tail_down_uphill", rise_at_s=0.1),
    road=invented_rides.road(grade_percent=((-5.0, 35.0),)),
)
ABSURD_COURSES = [
    STEEP,
    short("brake", mosfet_c=94.0),
    short("turn", turn_deg_per_s=((0.0, 200.0),)),
    short("climb", speed_mps=((0.0, 12.0),), charge_ratio=0.02),
]


START_METRICS = ("start_jerk_mps3", "start_delay_s")


def test_a_ride_that_does_not_start_tail_down_has_no_jerk_and_no_time_of_its_start():
    started, rolled = (
        simulate(ROW[None, :], invented_rides.rides((name,)))
        for name in ("tail_down_uphill", "cobbles")
    )

    for name in START_METRICS:
        assert (started.column(name) > 0.0).all()
        assert np.isnan(rolled.column(name)).all()


def test_a_board_that_never_engages_has_no_start_jerk():
    # The rider never brings the tail up.
    held_down = short("tail_down_uphill", rise_at_s=1e3)

    ridden = simulate(ROW[None, :], [invented_rides.ride(held_down)])

    assert np.isnan(ridden.column("start_jerk_mps3")).all()


def test_a_board_whose_ride_ended_before_it_engaged_has_no_start_jerk_in_any_batch():
    # The rider falls on a climb too steep for a board that waits until it is almost level.
    steep = invented_rides.course(
        "too_steep",
        invented_rides.road(grade_percent=((-5.0, 40.0),)),
        invented_rides.manoeuvre(2.0, ((0.0, 0.0),), start=Start.TAIL_DOWN),
    )
    late, soon = np.tile(ROW, (2, 1))
    late[PROFILE_NAMES.index("engage_angle_deg")] = 1.0
    soon[PROFILE_NAMES.index("engage_angle_deg")] = 30.0
    rides = [invented_rides.ride(steep, mass_kg) for mass_kg in invented_rides.BODIES]

    alone = [simulate(late[None, :], [ride]).metrics[0, 0] for ride in rides]
    # What an ended lane senses goes on with the lanes of its block whose rides last longer.
    together = simulate(np.array([late, soon]), rides)

    np.testing.assert_array_equal(together.metrics[0], alone)
    assert np.isnan(together.column("start_jerk_mps3")[0]).any()


def test_a_ride_that_never_accelerates_has_no_feel():
    speeds = simulate(ROW[None, :], invented_rides.rides(("stand", "launch")))

    n_riders = len(invented_rides.BODIES)
    feel = speeds.column("feel_deg_per_mps2")[0]
    assert np.isnan(feel[:n_riders]).all()
    assert np.isfinite(feel[n_riders:]).all()


@given(st.lists(whole(Profile), min_size=WIDTH, max_size=WIDTH))
@settings(max_examples=25)
def test_metrics_are_finite_for_every_profile_that_is_allowed(profiles):
    numbers = [
        {name: section[name] for section in one.values() for name in section} for one in profiles
    ]
    rows = np.array([[one[name] for name in PROFILE_NAMES] for one in numbers])

    ridden = simulate(rows, [invented_rides.ride(course) for course in ABSURD_COURSES])

    assert np.isfinite(invented_rides.always_measured(ridden)).all()
    assert set(ridden.outcome.ravel()) <= set(Outcome)


@given(whole(Board), whole(Rider), st.sampled_from(sorted(CELL_OCV_V)))
@settings(max_examples=40)
def test_metrics_are_finite_for_every_board_and_rider_that_is_allowed(board, rider, chemistry):
    drive, battery = board["drive"], board["battery"]
    battery["chemistry"] = chemistry
    drive["throttle_end_c"] = drive["throttle_start_c"] + 10.0
    battery["bus_high_v"] = battery["bus_low_v"] + 5.0
    ride = dataclasses.replace(
        invented_rides.ride(ABSURD_COURSES[0]),
        board=Board(**{f.name: f.type(**board[f.name]) for f in dataclasses.fields(Board)}),
        rider=Rider(**{f.name: f.type(**rider[f.name]) for f in dataclasses.fields(Rider)}),
    )
    flat = dataclasses.replace(ride, course=ABSURD_COURSES[1])

    ridden = simulate(ROW[None, :], [ride, flat])

    assert np.isfinite(invented_rides.always_measured(ridden)).all()


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_numbers_that_are_not_finite_are_refused(value):
    bad = PROFILES.copy()
    bad[1, 2] = value

    with pytest.raises(ValueError, match="profiles must be finite"):
        simulate(bad, RIDES)


@pytest.mark.parametrize("shape", [(ROW.size,), (3, ROW.size - 1), (2, 2, ROW.size), (0, 0)])
def test_profiles_of_another_shape_are_refused(shape):
    with pytest.raises(ValueError, match=rf"\(candidate, {len(PROFILE_NAMES)}\)"):
        simulate(np.ones(shape), RIDES)


def test_an_empty_portfolio_is_refused():
    with pytest.raises(ValueError, match="at least one ride"):
        simulate(PROFILES, [])


@pytest.mark.parametrize("seed", [-1, 2**64])
def test_a_seed_that_does_not_fit_is_refused(seed):
    ride = dataclasses.replace(RIDES[0], noise_seed=seed)

    with pytest.raises(ValueError, match="noise_seed"):
        simulate(PROFILES, [ride])


def test_no_candidates_give_no_rides():
    ridden = simulate(np.empty((0, ROW.size)), RIDES[:2])

    assert ridden.metrics.shape == (0, 2, len(METRIC_NAMES))


def test_more_profiles_than_a_block_holds_are_refused_one_ride_at_a_time():
    with pytest.raises(ValueError, match=f"at most {WIDTH}"):
        ride_lanes(np.tile(ROW, (WIDTH + 1, 1)), RIDES[0])


@pytest.mark.parametrize("n_lanes", [1, 8, 9, 100])
def test_every_block_begins_with_a_line_of_the_cache(n_lanes, monkeypatch):
    places = []
    run = door.ride_block
    monkeypatch.setattr(
        door, "ride_block", lambda b, *rest: (places.append(b.ctypes.data), run(b, *rest))
    )

    simulate(np.repeat(ROW[None, :], n_lanes, axis=0), [invented_rides.ride(short("stand"))])

    assert len(places) == -(-n_lanes // WIDTH)
    assert all(place % 64 == 0 for place in places)
