"""The control law, section by section, against what each setting says."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.constants import DT_S
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.lane_init import fill_profile
from plant.kernel.lane_layout import N_ROWS, WIDTH, R
from plant.physics.control import (
    LIFT_SHARE,
    LOAD_FILTER_S,
    allowed_current,
    braking_share,
    integrate,
    lift_under_load,
    load_filters,
    load_residual,
    override,
    slewed,
    stiffness_current,
    warning_share,
    warning_widths,
)
from tests import invented_rides
from tests.plant import rig

SCHEDULE = (8.0, 1.2, 4.0, 5.0, 1.5, 9.0, 2.0)
SLOPES = ((0.0, 1.2, 8.0), (1.2, 5.0, 4.0), (5.0, 9.0, 6.0), (9.0, 15.0, 12.0))


def drawn_current(error_deg):
    """Return the area under the gains: the schedule drawn by hand."""
    return sum(
        gain * max(0.0, min(error_deg, end) - start)
        for start, end, gain in SLOPES
        if error_deg > start
    )


@pytest.mark.parametrize("error_deg", [0.0, 0.6, 1.2, 3.0, 5.0, 7.0, 9.0, 14.0])
def test_schedule_is_the_area_under_its_gains_both_ways(error_deg):
    assert stiffness_current(error_deg, *SCHEDULE) == pytest.approx(drawn_current(error_deg))
    assert stiffness_current(-error_deg, *SCHEDULE) == pytest.approx(-drawn_current(error_deg))


ANY_SCHEDULE = st.tuples(
    st.floats(0.0, 60.0),
    st.floats(0.0, 5.0),
    st.floats(0.0, 60.0),
    st.floats(0.5, 20.0),
    st.floats(0.2, 6.0),
    st.floats(1.0, 30.0),
    st.floats(0.2, 6.0),
)


@given(error_deg=st.floats(-20.0, 20.0), settings=ANY_SCHEDULE)
def test_schedule_is_continuous_and_rises_for_any_settings(error_deg, settings):
    here = stiffness_current(error_deg, *settings)
    beside = stiffness_current(error_deg + 1e-6, *settings)

    steepest = max(settings[0], settings[2] * max(1.0, settings[4] * max(1.0, settings[6])))
    assert -1e-9 <= beside - here <= steepest * 1.001e-6 + 1e-9


@pytest.mark.parametrize(
    ("error_deg", "speed_mps", "share"),
    [
        (5.0, 3.0, 0.0),
        (-5.0, 3.0, 1.0),
        (5.0, -3.0, 1.0),
        (-5.0, 0.25, 0.5),
        (-0.15, 3.0, 0.5),
        (-5.0, 0.0, 0.0),
    ],
)
def test_braking_is_asking_against_the_motion(error_deg, speed_mps, share):
    assert braking_share(error_deg, speed_mps) == pytest.approx(share)


def test_a_steep_descent_overrides_soft_braking_and_leaves_hard_braking_alone():
    assert override(0.6, 0.0) == 0.6
    assert override(0.6, 0.5) == pytest.approx(0.8)
    assert override(0.6, 2.0) == pytest.approx(1.0)
    assert override(1.4, 2.0) == 1.4


def test_load_residual_is_expected_less_measured_acceleration_beyond_the_deadband():
    # 44 A at 22 A per m/s2 should give 2 m/s2.
    assert load_residual(44.0, 0.5, 1.0 / 22.0, 0.3) == pytest.approx((1.2, 0.0))
    assert load_residual(44.0, 3.0, 1.0 / 22.0, 0.3) == pytest.approx((0.0, 0.7))
    assert load_residual(44.0, 2.2, 1.0 / 22.0, 0.3) == (0.0, 0.0)


@pytest.mark.parametrize("step_s", [0.001, 0.02])
def test_a_steady_acceleration_is_measured_as_such_at_any_step(step_s):
    # Midway through a step, a sampled lag of time T behind a ramp is (x / 2) coth(x / 2) of the
    # continuous one's, with x = dt / T: z-transform of the ramp through the lag.
    share = 1.0 - math.exp(-step_s / LOAD_FILTER_S)
    current, speed, accelerations = 0.0, 0.0, []
    for step in range(round(1.5 / step_s)):
        current, speed, _, acceleration = load_filters(
            30.0, 2.0 * step * step_s, current, speed, share, 0.5
        )
        accelerations.append(acceleration)

    half = 0.5 * step_s / LOAD_FILTER_S
    assert accelerations[-1] == pytest.approx(2.0 * half / math.tanh(half), rel=1e-6)
    assert accelerations[-1] == pytest.approx(2.0, rel=4e-3)
    assert current == pytest.approx(30.0, rel=1e-6)


@pytest.mark.parametrize(
    ("raw_a", "speed_mps", "allowed_a"),
    [
        (-60.0, 4.0, -25.0),
        (60.0, -4.0, 25.0),
        (60.0, 4.0, 60.0),
        (-60.0, 0.1, -60.0),
        (-60.0, 0.29, -60.0),  # walking the board
        (60.0, -0.29, 60.0),
        (200.0, 4.0, 120.0),
        (-200.0, 0.0, -110.0),
    ],
)
def test_a_wanted_current_keeps_to_the_braking_cap_and_to_what_the_drive_gives(
    raw_a, speed_mps, allowed_a
):
    assert allowed_current(raw_a, speed_mps, 25.0, -110.0, 120.0) == allowed_a


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0.001, 1), st.floats(0.001, 1))
def test_a_slew_moves_towards_its_aim_by_no_more_than_its_rate(value, wanted, rise, fall):
    moved = slewed(value, wanted, rise, fall)

    assert min(value, wanted) - 1e-12 <= moved <= max(value, wanted) + 1e-12
    assert abs(moved - value) <= max(rise, fall) * (1.0 + 1e-12)


def test_a_shift_rises_at_one_rate_and_falls_at_another():
    assert slewed(1.0, 3.0, 0.2, 0.1) == pytest.approx(1.2)
    assert slewed(-1.0, -3.0, 0.2, 0.1) == pytest.approx(-1.2)
    assert slewed(3.0, 1.0, 0.2, 0.1) == pytest.approx(2.9)
    assert slewed(0.05, -3.0, 0.2, 0.1) == pytest.approx(-0.05)


def test_stiffness_lift_settles_at_its_gain_and_under_its_cap():
    lift = capped = 1.0
    for _ in range(3000):
        lift = lift_under_load(lift, 2.0, 0.3, 4.0, LIFT_SHARE)
        capped = lift_under_load(capped, 20.0, 0.3, 2.0, LIFT_SHARE)

    # Common practice, no source: total stiffness nearly doubles on a steep hill.
    assert lift == pytest.approx(1.6, rel=1e-6)
    assert capped == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize(
    ("room", "share"),
    [
        ({}, 0.0),
        ({"reserve": 0.15}, 0.5),
        ({"reserve": 0.0}, 1.0),
        ({"heat_room": 1.5}, 0.5),
        ({"low_room": 0.5}, 0.5),
        ({"low_room": -1.0}, 1.0),
        ({"high_room": 0.5}, 0.25),
        ({"high_room": -1.0}, 0.5),
        ({"high_room": -1.0, "reserve": 0.12}, 0.8),
        ({"reserve": 0.18, "heat_room": 0.3}, 0.9),
    ],
)
def test_the_warning_follows_the_nearest_limit(room, share):
    easy = {"reserve": 0.5, "heat_room": 20.0, "low_room": 9.0, "high_room": 9.0} | room

    found = warning_share(
        *(easy["reserve"], 0.2, 1.0 / 0.1),
        *(easy["heat_room"], 3.0, 1.0 / 3.0),
        *(easy["low_room"], easy["high_room"], 1.0, 1.0),
    )

    assert found == pytest.approx(share)


@pytest.mark.parametrize(
    ("margins", "widths"),
    [
        ((0.3, 4.0, 2.0), (0.15, 4.0, 2.0)),
        ((0.0, 0.0, 0.0), (0.01, 0.5, 0.2)),
    ],
)
def test_a_warning_grows_over_half_the_reserve_or_over_its_margin(margins, widths):
    assert warning_widths(*margins) == pytest.approx(widths)

    block = np.zeros((N_ROWS, WIDTH))
    names = ("reserve_warning_ratio", "heat_warning_margin_k", "bus_warning_margin_v")
    fill_profile(
        block,
        np.tile(profile_with(**dict(zip(names, margins, strict=True))), (WIDTH, 1)),
    )
    for name, width in zip(
        ("per_reserve_width", "per_heat_width", "per_bus_width"), widths, strict=True
    ):
        np.testing.assert_allclose(block[R[name] // WIDTH], 1.0 / width, rtol=1e-15)


@given(
    st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=60), st.floats(0.0, 60.0), st.floats(0, 9)
)
def test_the_integral_never_leaves_its_clamp(errors, gain, clamp):
    integral = 0.0
    for error in errors:
        integral = integrate(integral, error, gain, clamp, 0.0, 1.0)

    assert abs(integral) <= clamp


def test_the_integral_holds_while_the_drive_saturates_and_unwinds_at_once():
    assert integrate(3.0, 2.0, 5.0, 10.0, 1.0, DT_S) == 3.0
    assert integrate(3.0, 0.01, 5.0, 10.0, 0.01, DT_S) == 3.0
    assert integrate(-3.0, -2.0, 5.0, 10.0, -1e-3, DT_S) == -3.0
    assert integrate(3.0, -2.0, 5.0, 10.0, 1.0, DT_S) == pytest.approx(3.0 - 2.0 * 5.0 * DT_S)
    assert integrate(3.0, 2.0, 5.0, 10.0, 0.0, DT_S) == pytest.approx(3.0 + 2.0 * 5.0 * DT_S)


def test_filter_shares_are_those_of_exact_first_order_lags():
    block = np.zeros((N_ROWS, WIDTH))
    profiles = np.tile(invented_rides.profile_row(), (WIDTH, 1))

    fill_profile(block, profiles)

    cutoff = profiles[0, PROFILE_NAMES.index("rate_filter_hz")]
    build_up = profiles[0, PROFILE_NAMES.index("turn_build_up_s")]
    np.testing.assert_allclose(
        block[R.rate_share // WIDTH], 1.0 - math.exp(-2.0 * math.pi * cutoff * DT_S), rtol=1e-12
    )
    np.testing.assert_allclose(
        block[R.turn_share // WIDTH], 1.0 - math.exp(-DT_S / build_up), rtol=1e-12
    )


def profile_with(**settings):
    """Return the invented profile with single settings replaced, (parameter,)."""
    row = invented_rides.profile_row()
    for name, value in settings.items():
        row[PROFILE_NAMES.index(name)] = value
    return row


def test_nose_lift_in_a_turn_builds_up_late_and_saturates():
    rows = rig.QUIET | rig.HELD | {"yaw_rate_radps": 1.0}
    # An upright board with a perfect attitude filter: the yaw rate is seen as it is.
    rows |= {"roll_ratio": 0.0, "per_attitude_time": 0.0}
    along = rig.flat(3.0, 5.0)
    turning = invented_rides.manoeuvre(
        3.0, ((0.0, 5.0),), turn_deg_per_s=((0.0, math.degrees(1.0)),)
    )
    course = invented_rides.course("turn", along.road, turning)
    gain, build_up = 0.4, 0.3

    ridden = rig.run(
        rows,
        seconds=3.0,
        course=course,
        profile=profile_with(
            turn_gain_deg_per_mps2=gain,
            turn_build_up_s=build_up,
            turn_lift_cap_deg=15.0,
            load_shift_cap_deg=0.0,
            warning_lift_deg=0.0,
        ),
        record=("pitch_wanted_deg",),
    )

    # Two equal lags: 1 - (1 + t/T) exp(-t/T), slow at turn-in.
    time_s = np.arange(1, 3001) * 0.001
    shape = 1.0 - (1.0 + time_s / build_up) * np.exp(-time_s / build_up)
    np.testing.assert_allclose(
        -ridden.signal["pitch_wanted_deg"][:, 0], gain * 5.0 * shape, atol=0.02
    )


def test_torque_builds_up_over_its_time_once_the_board_is_near_level():
    rows = rig.QUIET | rig.HELD | {"engaged": 0.0, "authority": 0.0, "pitch_rad": 0.0}

    ridden = rig.run(
        rows,
        seconds=0.5,
        profile=profile_with(torque_build_up_s=0.25),
        record=("authority", "engaged"),
    )

    np.testing.assert_allclose(ridden.signal["engaged"], 1.0)
    expected = np.minimum(np.arange(1, 501) * 0.001 / 0.25, 1.0)
    np.testing.assert_allclose(ridden.signal["authority"][:, 0], expected, atol=1e-9)


def test_no_torque_comes_while_the_tail_is_down():
    rows = rig.QUIET | rig.HELD
    rows |= {"engaged": 0.0, "authority": 0.0, "pitch_rad": -0.3, "attitude_rad": -0.3}

    ridden = rig.run(
        rows, seconds=0.5, profile=profile_with(engage_angle_deg=8.0), record=("current_a",)
    )

    np.testing.assert_allclose(ridden.signal["current_a"], 0.0, atol=1e-9)


def test_the_braking_cap_bounds_what_the_law_may_ask_against_the_motion():
    rows = rig.QUIET | rig.HELD | {"pitch_rad": -0.2, "attitude_rad": -0.2, "speed_mps": 4.0}
    rows |= {"rotor_speed_radps": 4.0 / 0.14, "battery_current_limit_a": 400.0}
    rows |= {"regen_current_limit_a": 400.0, "speed_filtered_mps": 4.0}

    ridden = rig.run(
        rows,
        seconds=0.3,
        course=rig.flat(0.3, 4.0),
        profile=profile_with(braking_current_cap_a=25.0, base_gain_a_per_deg=10.0),
        record=("current_a", "current_raw_a"),
    )

    assert np.all(ridden.signal["current_raw_a"][50:] < -40.0)
    np.testing.assert_allclose(ridden.signal["current_a"][-1], -25.0, rtol=1e-6)


def test_a_current_sensor_that_reads_too_much_gives_too_little_and_the_law_sees_what_it_asked_for():
    offset_a = np.linspace(-2.0, 3.0, WIDTH)
    rows = rig.QUIET | rig.HELD | rig.held_current(10.0) | {"current_offset_a": offset_a}

    ridden = rig.run(rows, seconds=1.0)

    np.testing.assert_allclose(ridden.end["current_a"], 10.0 - offset_a, atol=1e-6)
    np.testing.assert_allclose(ridden.end["current_filtered_a"], 10.0, atol=1e-3)
