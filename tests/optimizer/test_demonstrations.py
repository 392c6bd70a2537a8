"""Every section of a profile does its job, on the ride where it matters, with and without it.

Directions and rough sizes are common practice, no source, unless a check says otherwise.
"""

import dataclasses
import functools
import json
import math

import numpy as np
import pytest

from optimizer.cli import main
from optimizer.demonstrations import (
    demonstrate,
    demonstration_names,
    example_board,
    example_profile,
    rider_of,
)
from optimizer.tail_hold import motor_moment_nm, press_limit_nm, tail_hold_ratio
from plant.outcomes import Outcome
from plant.profile import Profile
from plant.rows import STATE_NAMES, WIDTH
from tests.plant import rig


@functools.cache
def pair(name):
    return demonstrate(name)


def values(name):
    shown = pair(name)
    return shown.with_it.value, shown.without_it.value


def outcomes(name):
    shown = pair(name)
    return shown.with_it.trace.outcome, shown.without_it.trace.outcome


def test_every_section_is_shown():
    sections = {pair(name).section for name in demonstration_names()}

    named = {field.name for field in dataclasses.fields(Profile)} - {"acceleration_loop"}
    # The integral stands for itself, braking for its ratios and its cap.
    assert sections == named


def test_the_inner_band_holds_a_soft_board_as_level_at_rest_as_a_stiff_one():
    soft, without = values("inner_band_at_rest")

    assert soft < 0.8 * without


def test_the_inner_band_leaves_the_lean_of_a_start_soft():
    soft, stiff = values("inner_band_under_a_lean")

    assert soft > 1.3 * stiff


def test_outer_knees_catch_the_nose_of_a_heavy_rider():
    assert outcomes("outer_knees") == (Outcome.RIDDEN, Outcome.NOSE_DOWN)


def test_rate_damping_settles_the_board():
    damped, undamped = values("rate_damping")

    assert damped < 0.75 * undamped


def test_a_rate_cap_too_low_takes_the_damping_away():
    enough, too_low = values("rate_cap")

    assert enough < 0.95 * too_low


def test_the_integral_clamp_keeps_a_climb_from_lifting_the_nose_at_its_crest():
    clamped, free = values("integral_clamp")

    assert clamped > 0.7 * free  # both nose-up, below zero


def test_a_quick_tail_press_is_no_emergency_stop():
    soft, firm = values("quick_tail_press")
    shown = pair("quick_tail_press")

    assert firm < 1.2 * soft < 0.0
    # Softly braked the board keeps most of its 3 m/s, and the drive most of its current.
    assert np.nanmin(shown.with_it.trace.speed_mps[200:1200]) > 2.2
    assert abs(soft) < 0.4 * shown.ride.board.drive.phase_current_limit_a


def test_a_light_rider_holds_the_tail_down_on_soft_braking():
    board, profile, light = example_board(), example_profile(), rider_of("pupil_40")
    soft, firm = (
        dataclasses.replace(
            profile, braking=dataclasses.replace(profile.braking, braking_stiffness_ratio=ratio)
        )
        for ratio in (0.5, 1.2)
    )

    assert tail_hold_ratio(soft, board, light) < 0.8 * tail_hold_ratio(firm, board, light)
    assert tail_hold_ratio(soft, board, light) < 0.7
    # Statics: all weight on the rear foot, m g times its usable lever.
    lever_m = 0.5 * light.body.stance_m * light.skill.foot_use_ratio
    assert press_limit_nm(light) == pytest.approx(40.0 * 9.80665 * lever_m)
    assert np.all(np.diff(motor_moment_nm(soft, board, np.linspace(0.0, 20.0, 50))) >= 0.0)


def test_a_braking_cap_must_leave_what_a_stop_needs():
    assert outcomes("braking_cap") == (Outcome.RIDDEN, Outcome.RIDER_OFF)


def test_downhill_hold_is_not_lost_to_soft_braking():
    assert outcomes("soft_braking_downhill") == (Outcome.RIDDEN, Outcome.RIDER_OFF)
    assert abs(values("soft_braking_downhill")[0]) < 1.0


def test_the_load_response_keeps_the_nose_up_on_a_ramp():
    assert outcomes("load_response_uphill") == (Outcome.RIDDEN, Outcome.NOSE_DOWN)


def test_the_load_response_keeps_the_nose_down_on_a_descent():
    held, free = values("load_response_downhill")

    assert abs(held) < 0.4 * abs(free)


def test_stiffness_on_a_steep_grade_rises_towards_twice_its_flat_value():
    lifted = pair("stiffness_lift").with_it

    assert 1.7 < lifted.value < 2.1
    flat = lifted.trace.stiffness_lift_ratio[lifted.trace.distance_m < 4.0]
    assert np.nanmax(flat) < 1.1


def test_the_nose_does_not_dip_in_a_carve():
    held, free = values("turn_response")

    assert held < 0.5
    assert free > 1.0


def test_the_torque_warning_comes_in_time_to_slow_down():
    shown = pair("torque_reserve_warning")

    assert outcomes("torque_reserve_warning") == (Outcome.RIDDEN, Outcome.NOSE_DOWN)
    warned_s = shown.with_it.first_time_s("warning_lift_deg", 1.0)
    fell_s = shown.without_it.trace.time_s[np.isfinite(shown.without_it.trace.pitch_deg)][-1]
    assert fell_s - warned_s > 1.0


def test_the_heat_warning_comes_before_throttling_and_slows_the_rider():
    shown = pair("heat_warning")
    throttle_c = shown.ride.board.drive.throttle_start_c

    warned_s = shown.with_it.first_time_s("warning_lift_deg", 1.0)
    throttled_s = shown.without_it.first_time_s("mosfet_c", throttle_c)
    at_warning = np.interp(warned_s, shown.with_it.trace.time_s, shown.with_it.trace.mosfet_c)
    # The warning starts 2 to 3 K before throttling; 1 deg of nose lift is there soon after.
    assert throttle_c - 3.0 <= at_warning < throttle_c - 1.0
    assert throttled_s - warned_s > 2.0
    assert values("heat_warning")[0] < 0.6 * values("heat_warning")[1]


def test_the_low_bus_warning_comes_before_the_cut_out_and_puts_it_off():
    shown = pair("low_bus_warning")

    warned_s = shown.with_it.first_time_s("warning_lift_deg", 1.0)
    assert shown.without_it.trace.outcome is Outcome.BUS_TOO_LOW
    assert warned_s < shown.without_it.value - 1.0
    assert shown.with_it.value > shown.without_it.value + 2.0


def test_the_high_bus_warning_comes_before_the_highest_voltage():
    shown = pair("high_bus_warning")

    warned_s = shown.with_it.first_time_s("warning_lift_deg", 1.0)
    highest_s = shown.without_it.trace.time_s[np.nanargmax(shown.without_it.trace.bus_v)]
    assert warned_s < highest_s - 0.5


def test_a_start_on_a_slope_is_quick_and_without_a_jerk():
    jerk, abrupt = values("start_without_a_jerk")
    delay, slow = values("start_without_delay")

    assert jerk < 0.8 * abrupt
    assert delay < 1.0 < slow


def test_a_pulse_of_15_a_for_a_millisecond_each_way_is_a_click_and_moves_nothing():
    # Driven through the drive, the bodies and the tyre with the board and rider free to move.
    state = {}
    torque_nm = []
    moved = {}
    for seconds, current in ((0.001, 15.0), (0.001, -15.0), (0.3, 0.0)):
        asked = rig.held_current(current) | {"current_a": state.get("current_a", 0.0)}
        run = rig.run(
            rig.QUIET | state | asked,
            seconds=seconds,
            record=("current_a", "pitch_rad", "distance_m"),
        )
        state = {name: run.end[name] for name in STATE_NAMES if name != "integral_a"}
        torque_nm.append(np.abs(run.signal["current_a"]).max() * run.end["torque_per_amp_nm"][0])
        for name in ("pitch_rad", "distance_m"):
            most = np.abs(run.signal[name]).max()
            moved[name] = max(moved.get(name, 0.0), float(most))

    assert max(torque_nm) > 4.0  # N m: felt in the hand
    assert math.degrees(moved["pitch_rad"]) < 0.02
    assert moved["distance_m"] < 0.1e-3
    assert len(run.outcome) == WIDTH


def test_the_page_is_drawn_and_not_replaced_unasked(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.argv", ["levelgain", "demonstrate", str(tmp_path)])
    with pytest.raises(SystemExit) as first:
        main()
    assert first.value.code in (0, None)
    assert (tmp_path / "demonstrations.png").stat().st_size > 50_000
    assert (tmp_path / "demonstrations.svg").read_text().startswith("<?xml")
    assert "throw people" in capsys.readouterr().out

    with pytest.raises(SystemExit) as second:
        main()
    assert second.value.code == 2
    assert "give --force" in capsys.readouterr().err


def test_the_numbers_come_as_json(capsys, monkeypatch):
    monkeypatch.setattr("sys.argv", ["levelgain", "demonstrate", "--json"])
    with pytest.raises(SystemExit):
        main()

    told = json.loads(capsys.readouterr().out)
    assert [row["name"] for row in told] == list(demonstration_names())
