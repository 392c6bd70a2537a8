"""The balance loop against its transfer function written out again, and against the kernel."""

import dataclasses

import numpy as np
import pytest

from plant.description.course import Course, Manoeuvre, Patch, Road, Surface
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.lane_layout import WIDTH
from plant.linear import balance_loop as loop_module
from plant.linear.balance_loop import (
    GAIN_POINTS,
    loop_gains,
    loop_margins,
    loop_plant,
    loop_transfer,
    of_each_rider,
)
from plant.physics import reflex
from tests import invented
from tests.plant import rig

RIDERS = (
    invented.rider(40.0, 1.49, lean_gain_ratio=0.27),
    invented.rider(80.0, 1.78),
    invented.rider(105.0, 1.83),
)


def profiles(**columns):
    """Return the invented profile repeated, with some columns replaced."""
    n_candidates = max((len(values) for values in columns.values()), default=1)
    table = np.tile(profile_to_array(invented.profile()), (n_candidates, 1))
    for name, values in columns.items():
        table[:, PROFILE_NAMES.index(name)] = values
    return table


def various_profiles(n_candidates):
    random = np.random.default_rng(20)
    bounds = {
        "inner_gain_a_per_deg": (3.0, 15.0),
        "base_gain_a_per_deg": (1.5, 8.0),
        "rate_gain_a_per_deg_per_s": (0.05, 1.2),
        "rate_filter_hz": (20.0, 150.0),
        "integral_gain_a_per_deg_s": (0.0, 5.0),
    }
    return profiles(
        **{name: random.uniform(*bound, n_candidates) for name, bound in bounds.items()}
    )


# The acceleration loop that passes the pitch loop's current on and does nothing else.
NO_INNER = (22.0, 1.0, 0.0, 0.0, 10.0)


def written_out(board, rider, *, s, stiffness, rate_gain, rate_filter_hz, integral, inner=NO_INNER):
    """Return L at one s from the Laplace transforms of the equations, gains in A/deg."""
    skill, g, r = rider.skill, 9.80665, board.wheel.wheel_radius_m
    m, h, ankle = rider.body.mass_kg, rider.com_above_ankle_m, rider.body.deck_height_m
    frame, sensors = board.frame, board.sensors
    m_b, h_b = frame.frame_mass_kg, frame.frame_com_height_m
    board_mh = m_b * h_b + m * ankle
    moving = m + m_b + board.wheel.wheel_mass_kg
    total = moving + board.wheel.wheel_inertia_kg_m2 / r**2
    mgh = m * g * h
    drag = 1.225 * rider.body.drag_area_m2 * 5.0

    error = -(1.0 + reflex.FORESIGHT_S * s)  # per speed
    wish = error * (
        1.0 / reflex._SPEED_TIME_S / (1.0 + skill.smoothing_s * s) + reflex._TRIM_RATE_PER_S2 / s
    )
    carried = moving * r + board_mh
    lean_for_wish = 1.0 / g + carried / mgh
    per_wish = carried - mgh * (skill.lean_gain_ratio + skill.leg_stiffness_ratio) * lean_for_wish
    slow = np.exp(-s * skill.reflex_delay_s) / (1.0 + skill.reflex_lag_s * s)
    foot_by_speed = per_wish * wish * slow
    foot_by_lean = mgh * (skill.lean_gain_ratio + skill.lean_rate_gain_s * s) * slow
    foot_by_lean += mgh * (skill.leg_stiffness_ratio + skill.leg_damping_s * s)
    adapted = reflex.LEG_ADAPT_TIME_S * s / (1.0 + reflex.LEG_ADAPT_TIME_S * s)
    foot_by_pitch = -mgh * (skill.leg_stiffness_ratio * adapted + skill.leg_damping_s * s)

    # Unknowns: speed, pitch, lean.
    left = np.array(
        [
            [total * s + drag, board_mh * s**2, m * h * s**2],
            [
                board_mh * s - foot_by_speed,
                (frame.frame_inertia_kg_m2 + m_b * h_b**2 + m * ankle**2) * s**2
                - board_mh * g
                - foot_by_pitch,
                m * h * ankle * s**2 - foot_by_lean,
            ],
            [
                m * h * s + foot_by_speed,
                m * h * ankle * s**2 + foot_by_pitch,
                (rider.inertia_kg_m2 + m * h**2) * s**2 - mgh + foot_by_lean,
            ],
        ]
    )
    torque = np.sqrt(3.0) / 2.0 * 60.0 / (2.0 * np.pi * board.motor.kv_rpm_per_v)
    speed, pitch, _ = np.linalg.solve(left, np.array([torque / r, -torque, 0.0]))

    omega = 2.0 * np.pi * frame.flex_frequency_hz
    flex = -torque / frame.frame_inertia_kg_m2
    flex /= s**2 + 2.0 * frame.flex_damping_ratio * omega * s + omega**2
    gyro = s * (pitch + flex) / (1.0 + sensors.gyro_lag_s * s)
    upright = pitch + flex - s * speed / g
    # What is worked out each millisecond: z-transforms of the difference equations.
    step, z = 0.001, np.exp(0.001 * s)
    kept = np.exp(-2.0 * np.pi * rate_filter_hz * step)
    filtered = gyro * (1.0 - kept) * z / (z - kept)
    stay = 1.0 - step / sensors.attitude_time_s
    attitude = step * (gyro + upright / sensors.attitude_time_s) * z / (z - stay)
    summed = step / (z - 1.0)
    outer = np.degrees(1.0) * ((stiffness + integral * summed) * attitude + rate_gain * filtered)
    expected, feed_forward, gain, gain_on_speed, filter_hz = inner
    # The rotor turns against the board; critically damped tracking of its angle, whose state is
    # (angle, speed) after the step, then the filtered difference of the speed.
    tracking = 2.0 * np.pi * sensors.speed_tracking_hz
    update = np.array([2.0 * tracking * step, tracking**2 * step])
    a = np.array([[1.0, step], [0.0, 1.0]]) - np.outer(update, [1.0, 0.0])
    [_, tracked] = np.linalg.solve(z * np.eye(2) - a, z * update * (speed / s - r * pitch) / r)
    kept = np.exp(-2.0 * np.pi * filter_hz * step)
    accel = (1.0 - kept) * (z - 1.0) / (z - kept) / step * r * tracked
    asked = feed_forward * outer + (gain + gain_on_speed * summed) * (outer / expected - accel)
    drive = board.drive
    return -asked * np.exp(-drive.loop_delay_s * s) / (1.0 + drive.current_lag_s * s)


@pytest.mark.parametrize("rider", RIDERS)
def test_loop_is_that_of_the_equations_written_out(rider):
    board = invented.board()
    plant = loop_plant(board, [rider])
    gains = loop_gains(profiles())

    found = loop_transfer(plant, gains)[0, :, 0]

    for point, stiffness in enumerate((8.0, 3.5, 16.0)):
        expected = [
            written_out(
                board,
                rider,
                s=s,
                stiffness=stiffness,
                rate_gain=0.4,
                rate_filter_hz=60.0,
                integral=1.0,
            )
            for s in plant.laplace_radps
        ]
        np.testing.assert_allclose(found[point], expected, rtol=1e-7)


NESTED = {
    "expected_current_a_per_mps2": 19.0,
    "feed_forward_ratio": 0.7,
    "acceleration_gain_a_per_mps2": 6.0,
    "acceleration_integral_a_per_mps": 15.0,
    "acceleration_filter_hz": 8.0,
}


@pytest.mark.parametrize("rider", RIDERS)
def test_nested_loop_is_that_of_the_equations_written_out(rider):
    board = invented.board()
    plant = loop_plant(board, [rider])
    gains = loop_gains(profiles(**{name: [value] for name, value in NESTED.items()}))

    found = loop_transfer(plant, gains)[0, 1, 0]

    expected = [
        written_out(
            board,
            rider,
            s=s,
            stiffness=3.5,
            rate_gain=0.4,
            rate_filter_hz=60.0,
            integral=1.0,
            inner=tuple(NESTED.values()),
        )
        for s in plant.laplace_radps
    ]
    np.testing.assert_allclose(found, expected, rtol=1e-7)


def test_gain_points_follow_the_schedule():
    gains = loop_gains(
        profiles(
            inner_gain_a_per_deg=[8.0, 8.0, 2.0, 8.0],
            inner_band_deg=[1.2, 0.0, 1.0, 1.2],
            base_gain_a_per_deg=[3.5, 3.5, 4.0, 3.5],
            stiffness_lift_per_mps2=[0.3, 0.3, 0.3, 0.0],
        )
    )

    assert GAIN_POINTS == ("inner", "base", "lifted")
    np.testing.assert_allclose(
        gains.stiffness_a_per_deg,
        [[8.0, 3.5, 16.0], [3.5, 3.5, 7.0], [2.0, 4.0, 8.0], [8.0, 3.5, 8.0]],
    )


@pytest.mark.parametrize("flex_damping_ratio", [0.02, 0.08, 0.3])
def test_grid_is_fine_enough_for_the_margins(monkeypatch, flex_damping_ratio):
    board = invented.board()
    frame = dataclasses.replace(board.frame, flex_damping_ratio=flex_damping_ratio)
    board = dataclasses.replace(board, frame=frame)
    gains = loop_gains(various_profiles(60))

    coarse = loop_margins(loop_plant(board, RIDERS), gains)
    monkeypatch.setattr(loop_module, "_N_FREQUENCIES", 8000)
    fine = loop_margins(loop_plant(board, RIDERS), gains)

    clear = fine.modulus > 0.02
    np.testing.assert_array_equal(coarse.n_unstable[clear], fine.n_unstable[clear])
    np.testing.assert_allclose(coarse.modulus[clear], fine.modulus[clear], rtol=0.01)
    np.testing.assert_allclose(coarse.gain_room[clear], fine.gain_room[clear], atol=0.01)
    crosses = clear & np.isfinite(fine.phase_deg)
    phase_deg = np.abs(coarse.phase_deg - fine.phase_deg)[crosses]
    # A few only touch the unit circle, between two points of the coarse grid.
    assert np.quantile(phase_deg, 0.99) < 0.3


def test_margins_are_least_at_the_slowest_or_the_fastest_speed():
    gains = loop_gains(various_profiles(60))
    speeds = (0.0, 1.0, 3.0, 5.0, 7.0, 9.0, 11.0, 13.0)

    def least(*speeds_mps):
        plant = loop_plant(invented.board(), RIDERS, speeds_mps=speeds_mps)
        worst = of_each_rider(loop_margins(plant, gains), len(RIDERS))
        return worst.modulus, worst.n_unstable

    ends, ends_unstable = least(speeds[0], speeds[-1])
    whole, whole_unstable = least(*speeds)
    np.testing.assert_array_equal(ends_unstable, whole_unstable)
    np.testing.assert_allclose(ends, whole, rtol=5e-3)


def test_the_worst_speed_is_found_among_the_riders_repeated():
    gains = loop_gains(various_profiles(4))
    board, speeds = invented.board(), (0.0, 12.0)
    plant = loop_plant(board, RIDERS, speeds_mps=speeds)

    worst = of_each_rider(loop_margins(plant, gains), len(RIDERS))

    each = [loop_margins(loop_plant(board, RIDERS, speeds_mps=[speed]), gains) for speed in speeds]
    signed = [np.where(at.stable, at.modulus, -at.modulus) for at in each]
    np.testing.assert_allclose(
        np.where(worst.stable, worst.modulus, -worst.modulus), np.minimum(*signed), rtol=1e-3
    )


def test_margins_of_a_candidate_do_not_depend_on_its_batch():
    table = various_profiles(19)
    plant = loop_plant(invented.board(), RIDERS)

    together = loop_margins(plant, loop_gains(table))
    alone = loop_margins(plant, loop_gains(table[11:12]))

    np.testing.assert_array_equal(together.modulus[11], alone.modulus[0])
    np.testing.assert_array_equal(together.phase_deg[11], alone.phase_deg[0])


def quiet(board):
    sensors = dataclasses.replace(
        board.sensors, gyro_noise_deg_per_s=0.0, gyro_noise_per_mps2=0.0, gyro_bias_deg_per_s=0.0
    )
    return dataclasses.replace(board, sensors=sensors)


SPEED_MPS = 5.0


def gust_course(gust_mps=1.0):
    """Return a smooth level road with a short gust after half a second, in air that moves along.

    So the ride begins in balance. Against still air the push that a rider misses at first is over
    0.4 m/s2 and plain: it is learnt faster, which is not linear.
    """
    smooth = Surface(rolling_ratio=0.0, friction_ratio=0.9, roughness_1e6_m3=0.0)
    gust = ((0.0, 0.0), (0.5, 0.0), (0.6, gust_mps), (0.8, 0.0))
    return Course(
        name="gust",
        title="a gust on a smooth level road",
        road=Road(patches=(Patch(from_m=0.0, surface=smooth),)),
        manoeuvre=Manoeuvre(
            duration_s=6.0,
            speed_mps=((0.0, SPEED_MPS),),
            headwind_mps=tuple((at_s, speed_mps - SPEED_MPS) for at_s, speed_mps in gust),
        ),
        road_seed=1,
    )


# Only stiffness and damping act, with one gain at every pitch the rides reach.
PLAIN = {
    "inner_band_deg": 5.0,
    "mid_knee_deg": 6.0,
    "mid_gain_ratio": 1.0,
    "outer_gain_ratio": 1.0,
    "integral_gain_a_per_deg_s": 0.0,
    "braking_stiffness_ratio": 1.0,
    "braking_damping_ratio": 1.0,
    "load_shift_cap_deg": 0.0,
    "stiffness_lift_per_mps2": 0.0,
    "turn_gain_deg_per_mps2": 0.0,
    "warning_lift_deg": 0.0,
}


# Counts of the rotor angle so fine that they are no noise.
FINE_COUNTS = {"counts_per_rad": 1e7, "per_counts_per_rad": 1e-7}


def pitch_rates(table, course, rider, board):
    """Return the pitch rate of each profile at each step, (step, candidate), without noise."""
    blocks = [
        rig.run(
            FINE_COUNTS,
            seconds=course.manoeuvre.duration_s,
            record=("pitch_rate_radps",),
            course=course,
            rider=rider,
            board=board,
            profile=table[start : start + WIDTH],
        )
        for start in range(0, len(table), WIDTH)
    ]
    return np.concatenate([block.signal["pitch_rate_radps"] for block in blocks], axis=1)


# The inner loop by itself, beside half of the pitch loop's current, and as a share of all.
INNER = [
    {},
    {"feed_forward_ratio": 0.0, "acceleration_gain_a_per_mps2": 20.0},
    {"feed_forward_ratio": 0.5, "acceleration_gain_a_per_mps2": 10.0},
]


@pytest.mark.parametrize("inner", INNER, ids=["single", "nested", "half nested"])
@pytest.mark.parametrize("rider", RIDERS)
def test_kernel_calms_down_after_a_gust_exactly_where_the_loop_is_stable(rider, inner):
    rider = dataclasses.replace(rider, skill=dataclasses.replace(rider.skill, sway_ratio=0.0))
    board = quiet(invented.board())
    stiffness, rate_gain = np.meshgrid([6.0, 10.0, 16.0, 25.0], [0.05, 0.3, 0.6, 0.9])
    table = profiles(
        inner_gain_a_per_deg=stiffness.ravel(),
        base_gain_a_per_deg=stiffness.ravel(),
        rate_gain_a_per_deg_per_s=rate_gain.ravel(),
        **{name: [value] * stiffness.size for name, value in (PLAIN | inner).items()},
    )

    plant = loop_plant(board, [rider], speeds_mps=(0.0,))  # through the air
    margins = loop_margins(plant, loop_gains(table))
    rate = pitch_rates(table, gust_course(), rider, board)

    early = np.sqrt(np.mean(rate[1000:2000] ** 2, axis=0))
    late = np.sqrt(np.mean(np.nan_to_num(rate[5000:], nan=np.inf) ** 2, axis=0))
    # The kernel rounds the reflex's delay to its slots: near the limit they differ.
    clear = margins.modulus[:, 0, 0] > 0.1
    assert np.count_nonzero(clear) >= 8
    np.testing.assert_array_equal((late < early)[clear], margins.stable[clear, 0, 0])


def breath_course():
    """Return a ride on which a breath of wind is all that happens, too weak to reach a limit."""
    course = gust_course(gust_mps=0.1)
    manoeuvre = dataclasses.replace(course.manoeuvre, duration_s=3.0)
    return dataclasses.replace(course, manoeuvre=manoeuvre)


@pytest.mark.parametrize("loop_delay_s", [0.0005, 0.001, 0.0015, 0.0017, 0.0025])
@pytest.mark.parametrize(
    ("rider", "stiffness", "rate_gain"),
    # Stable loops: the heaviest rider needs half of these gains at least.
    [(RIDERS[1], 6.0, 0.4), (RIDERS[1], 14.0, 0.9), (RIDERS[2], 20.0, 0.6)],
)
def test_kernel_loses_stability_at_the_gain_margin_of_the_loop(
    rider, stiffness, rate_gain, loop_delay_s
):
    rider = dataclasses.replace(rider, skill=dataclasses.replace(rider.skill, sway_ratio=0.0))
    board = quiet(invented.board())
    drive = dataclasses.replace(board.drive, loop_delay_s=loop_delay_s)
    board = dataclasses.replace(board, drive=drive)

    def scaled(factor):
        gains = {
            "inner_gain_a_per_deg": stiffness * factor,
            "base_gain_a_per_deg": stiffness * factor,
            "rate_gain_a_per_deg_per_s": rate_gain * factor,
        }
        return profiles(**{name: [value] * len(factor) for name, value in PLAIN.items()} | gains)

    plant = loop_plant(board, [rider], speeds_mps=(0.0,))  # through the air
    margins = loop_margins(plant, loop_gains(scaled(np.ones(1))))
    assert margins.stable[0, 0, 0]
    limit = margins.gain_up_ratio[0, 0, 0]
    factor = limit * np.array([0.8, 0.9, 0.94, 0.96, 1.0, 1.04, 1.06, 1.1])
    fast = np.diff(pitch_rates(scaled(factor), breath_course(), rider, board), n=2, axis=0)

    # The fast mode dies out below the limit, and grows above it.
    early, late = (np.sqrt(np.mean(fast[at : at + 500] ** 2, axis=0)) for at in (1000, 2400))
    assert np.all(late[factor <= 0.94 * limit] < early[factor <= 0.94 * limit])
    assert np.all(late[factor >= 1.06 * limit] > early[factor >= 1.06 * limit])
