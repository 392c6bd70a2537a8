"""Each section of the profile does its job on the ride where it matters.

Directions and rough sizes are common practice, no source, except where a source is named.
"""

import dataclasses
import functools
import json

import numpy as np
import pytest
from typer.testing import CliRunner

from optimizer.analysis import demonstration_catalogue as catalogue
from optimizer.analysis.demonstration_catalogue import (
    catalogue_demonstrations,
    example_board,
    example_profile,
    rider_of,
)
from optimizer.analysis.demonstrations import ridden
from optimizer.analysis.tail_statics import motor_moment_nm, press_limit_nm, tail_hold_ratio
from optimizer.base.errors import UserInputError
from optimizer.cli.app import app
from optimizer.reports.demonstration_figures import result_line
from optimizer.study.catalogue import shelves
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.outcomes import Outcome


@functools.cache
def demonstrations():
    return {shown.name: shown for shown in catalogue_demonstrations()}


@functools.cache
def rides(name):
    """Return the rides of a demonstration, the one with the effect first."""
    return tuple(ridden(demonstrations()[name]).values())


N_DRAWS = 12  # of noise and roughness, where one draw moves what is measured by as much


@functools.cache
def drawn(name, n_draws=N_DRAWS):
    """Return the rides of a demonstration on several draws, as `rides` does for its own."""
    shown = demonstrations()[name]
    return [tuple(ridden(reseeded(shown, seed)).values()) for seed in range(n_draws)]


def measured(name):
    return [ride.measured for ride in rides(name)]


def outcomes(name):
    return [ride.signals.outcome for ride in rides(name)]


def first_time(ride, happens):
    """Return when something happens for the first time, in s; inf if never."""
    when = ride.signals.time_s[happens]
    return float(when[0]) if when.size else np.inf


def test_every_section_of_a_single_loop_is_shown():
    shown = {each.section for each in demonstrations().values()}

    assert shown == set(Profile.__dataclass_fields__) - {"acceleration_loop"}


@pytest.mark.parametrize("name", demonstrations())
def test_every_ride_with_the_section_is_ridden_to_its_end(name):
    assert outcomes(name)[0] is Outcome.RIDDEN


@pytest.mark.parametrize("name", demonstrations())
def test_the_rides_of_a_pair_differ_in_one_section(name):
    shown = demonstrations()[name]
    with_it, without = list(shown.profiles.values())[:2]

    section = Profile.__dataclass_fields__[shown.section].type
    own = set(section.__dataclass_fields__)
    changed = {
        parameter for parameter, a, b in zip(PROFILE_NAMES, with_it, without, strict=True) if a != b
    }
    assert changed
    assert changed <= own


@pytest.mark.slow
@pytest.mark.parametrize("name", demonstrations())
def test_what_a_pair_shows_does_not_hang_on_its_noise_and_roughness(name):
    shown = demonstrations()[name]
    again = [list(ridden(reseeded(shown, seed)).values()) for seed in range(6)]

    with_it, without = (np.median([rides[side].measured for rides in again]) for side in (0, 1))
    first, second = measured(name)[:2]
    assert np.sign(with_it - without) == np.sign(first - second)
    assert abs(with_it - without) > 0.3 * abs(first - second)
    assert all(rides[0].signals.outcome is Outcome.RIDDEN for rides in again)


def reseeded(shown, seed):
    """Return a demonstration with another seed of its noise and of its road's roughness."""
    course = dataclasses.replace(shown.ride.course, road_seed=seed)
    ride = dataclasses.replace(shown.ride, course=course, noise_seed=seed)
    return dataclasses.replace(shown, ride=ride)


def test_an_inner_band_holds_level_at_rest_like_a_stiff_board():
    band, soft, stiff = measured("inner_band_at_rest")

    assert band == pytest.approx(stiff, rel=0.1)
    assert soft > 1.5 * band


def test_an_inner_band_leaves_the_lean_under_acceleration_soft():
    band, stiff = measured("inner_band_under_way")

    assert band > 1.15 * stiff


def test_knees_keep_the_nose_off_the_ground():
    knees, none = measured("outer_knees")

    assert outcomes("outer_knees")[1] is Outcome.NOSE_DOWN
    assert knees < 0.9 * none


def test_rate_damping_slows_the_rocking_on_cobbles():
    damped, undamped = measured("rate_damping")

    assert 0.4 < damped / undamped < 0.75


def test_the_cap_keeps_the_shock_of_a_landing_out_of_the_motor():
    draws = drawn("rate_cap", 36)  # of twelve, the median ratio is from 1.2 to 2.1

    assert np.median([free.measured / capped.measured for capped, free in draws]) > 1.3
    # And costs nothing in level.
    level = "hold_pitch_rms_deg"
    cost = np.median([capped.metrics[level] / free.metrics[level] for capped, free in draws])
    assert cost == pytest.approx(1.0, abs=0.05)


def test_a_rate_cap_too_low_takes_the_damping_away():
    enough, too_low = measured("rate_cap_too_low")

    assert too_low > enough + 1.0


def test_without_a_clamp_the_nose_rises_behind_the_crest():
    clamped, free = measured("integral_clamp")

    assert free < clamped - 1.0


def test_a_rider_of_40_kg_holds_the_tail_down_on_soft_braking_alone():
    soft, stiff = rides("soft_braking")
    down = soft.signals.ground_pitch_deg < -0.9 * tail_contact_deg("soft_braking")

    assert np.count_nonzero(down) * np.diff(soft.signals.time_s)[0] > 0.7  # s
    assert stiff.measured > -0.75 * tail_contact_deg("soft_braking")


def tail_contact_deg(name):
    return demonstrations()[name].ride.board.frame.tail_contact_deg


def test_a_quick_tail_press_under_a_cap_is_no_emergency_stop():
    capped, free = rides("braking_cap")

    assert free.measured < 1.6 * capped.measured < 0.0
    lost = [3.0 - float(np.nanmin(ride.signals.speed_mps)) for ride in (capped, free)]
    assert lost[0] < 0.6 * lost[1]


def test_a_braking_cap_must_leave_what_a_hard_stop_needs():
    assert outcomes("braking_cap_too_low") == [Outcome.RIDDEN, Outcome.RIDER_OFF]
    enough, too_low = measured("braking_cap_too_low")
    assert enough < too_low


def test_at_rest_a_light_rider_holds_the_tail_down_on_soft_braking():
    board, profile, light = example_board(), example_profile(), rider_of("pupil_40")
    soft, firm = (
        dataclasses.replace(
            profile, braking=dataclasses.replace(profile.braking, braking_stiffness_ratio=ratio)
        )
        for ratio in (0.3, 1.2)
    )

    assert tail_hold_ratio(soft, board, light) < 0.8 * tail_hold_ratio(firm, board, light)
    assert tail_hold_ratio(soft, board, light) < 0.7
    # Statics: all weight on the rear foot, m g times its usable lever.
    lever_m = 0.5 * light.body.stance_m * light.skill.foot_use_ratio
    assert press_limit_nm(light) == pytest.approx(40.0 * 9.80665 * lever_m)
    assert np.all(np.diff(motor_moment_nm(soft, board, np.linspace(0.0, 20.0, 50))) >= 0.0)


def test_the_load_response_overrides_soft_braking_on_a_descent():
    overridden, soft = rides("downhill_override")

    assert np.nanmin(overridden.signals.ground_pitch_deg) > -tail_contact_deg("downhill_override")
    assert overridden.measured < soft.measured - 0.2


def test_the_nose_is_lifted_as_a_hill_begins():
    lifted, none = rides("uphill_response")

    assert none.signals.outcome is Outcome.NOSE_DOWN
    assert np.nanmin(lifted.signals.wanted_pitch_deg) < -4.0
    assert lifted.measured < none.measured - 3.0


def test_the_tail_keeps_clear_as_a_descent_begins():
    lowered, none = rides("downhill_response")

    assert np.nanmax(lowered.signals.wanted_pitch_deg) > 3.0
    assert lowered.measured > none.measured + 2.0


def test_stiffness_on_a_steep_climb_rises_towards_twice_its_flat_value():
    lifted, plain = rides("stiffness_lift")
    time_s = lifted.signals.time_s
    climbing = (time_s > 4.0) & np.isfinite(lifted.signals.stiffness_lift_ratio)

    # Common practice, no source: total stiffness nearly doubles on a steep hill.
    assert 1.5 < np.mean(lifted.signals.stiffness_lift_ratio[climbing]) < 2.0
    assert plain.measured == pytest.approx(1.0)
    nose = [np.nanmax(ride.signals.ground_pitch_deg) for ride in (lifted, plain)]
    assert nose[0] < nose[1] - 1.0


def test_the_nose_does_not_dip_in_a_carve():
    turning, none = dips(drawn("turn_response"))
    straight, straight_without = dips(
        tuple(ridden(straightened(demonstrations()["turn_response"], seed)).values())
        for seed in range(N_DRAWS)
    )

    np.testing.assert_allclose(straight, straight_without, atol=0.1)
    assert np.median(turning - straight) < 0.5
    assert np.median(none - straight) > 3.0


def dips(draws):
    """Return what each ride of a pair measured, (side, draw)."""
    return np.array([[ride.measured for ride in pair] for pair in draws]).T


def straightened(shown, seed):
    """Return a demonstration ridden straight on, with the same noise and roughness."""
    straight = dataclasses.replace(shown.ride.course.manoeuvre, turn_deg_per_s=((0.0, 0.0),))
    course = dataclasses.replace(shown.ride.course, manoeuvre=straight)
    ride = dataclasses.replace(shown.ride, course=course)
    return reseeded(dataclasses.replace(shown, ride=ride), seed)


def test_the_torque_warning_comes_while_the_rider_can_still_slow_down():
    slowed_mps = []
    for warned, unwarned in drawn("reserve_warning"):
        perceived = first_time(warned, warned.signals.warning_lift_deg > 1.0)
        limit = first_time(unwarned, unwarned.signals.torque_reserve_ratio < 0.05)
        signals = warned.signals

        assert unwarned.signals.outcome is Outcome.NOSE_DOWN
        assert perceived < limit - 1.0
        assert warned.measured > 0.05
        then = np.interp(limit + 2.5, signals.time_s, signals.speed_mps)
        slowed_mps.append(np.nanmax(signals.speed_mps) - then)

    assert np.median(slowed_mps) > 0.5


def test_the_heat_warning_starts_three_kelvin_before_throttling():
    warned, unwarned = rides("heat_warning")
    drive = demonstrations()["heat_warning"].ride.board.drive
    throttled = first_time(warned, warned.signals.mosfet_c > drive.throttle_start_c)
    # Bumps lift the nose too, for a moment, where they take the torque reserve.
    silent = (warned.signals.warning_lift_deg <= 0.05) & (warned.signals.time_s < throttled)
    began = float(warned.signals.time_s[silent][-1])

    # Common practice, no source: 2-3 K before throttling.
    at_start = float(np.interp(began, warned.signals.time_s, warned.signals.mosfet_c))
    assert drive.throttle_start_c - at_start == pytest.approx(3.0, abs=0.2)
    assert throttled - began > 3.0
    assert warned.measured < 0.6 * unwarned.measured


def test_a_warning_of_high_voltage_comes_before_braking_tapers_off():
    warned, unwarned = rides("bus_high_warning")
    board = demonstrations()["bus_high_warning"].ride.board
    tapers = board.battery.bus_high_v - board.drive.regen_taper_v
    perceived = first_time(warned, warned.signals.warning_lift_deg > 1.0)

    # Without it the rider gathers speed until the drive, sparing the pack, holds the board no more.
    assert unwarned.signals.outcome is Outcome.RIDER_OFF
    assert perceived < first_time(unwarned, unwarned.signals.bus_v > tapers) - 3.0
    assert warned.measured < 0.9 * unwarned.measured
    # The drive keeps the pack below its limit by itself.
    assert np.nanmax(unwarned.signals.bus_v) < board.battery.bus_high_v


def test_a_whole_lift_by_a_high_bus_would_take_the_tail_to_the_ground():
    shown = demonstrations()["bus_high_warning"]
    lift = PROFILE_NAMES.index("warning_lift_deg")
    profiles = {"half": shown.profiles["warning"], "whole": shown.profiles["warning"].copy()}
    profiles["whole"][lift] *= 2.0

    half, whole = ridden(dataclasses.replace(shown, profiles=profiles)).values()

    tail_deg = shown.ride.board.frame.tail_contact_deg
    assert np.nanmin(half.signals.ground_pitch_deg) > -tail_deg
    assert np.nanmin(whole.signals.ground_pitch_deg) < -tail_deg
    assert whole.signals.outcome is not Outcome.RIDDEN


def test_a_warning_of_low_voltage_keeps_the_drive_from_cutting_out():
    warned, unwarned = rides("bus_low_warning")
    perceived = first_time(warned, warned.signals.warning_lift_deg > 1.0)

    assert unwarned.signals.outcome is Outcome.BUS_TOO_LOW
    assert perceived < unwarned.metrics["ride_time_s"] - 3.0


def test_a_start_up_a_slope_is_without_a_jerk():
    built_up, at_once = measured("engagement_jerk")

    assert built_up < 0.6 * at_once


def test_a_start_up_a_slope_is_quick():
    quick, slow = rides("engagement_delay")

    assert quick.measured < 1.0 < slow.measured
    assert np.nanmin(quick.signals.distance_m) > -0.1  # it does not roll back


def test_a_demonstration_that_has_nothing_to_measure_says_so():
    shown = demonstrations()["engagement_delay"]
    rolling = dataclasses.replace(
        shown.ride, course=demonstrations()["bus_low_warning"].ride.course
    )

    line = result_line(shown, ridden(dataclasses.replace(shown, ride=rolling)))

    assert line.startswith("level after nothing to measure (build-up 0.15 s")


def test_the_command_draws_one_page_twice_and_replaces_nothing_unasked(tmp_path):
    asked = ["demonstrate", str(tmp_path)]

    done = CliRunner().invoke(app, asked)

    assert done.exit_code == 0, done.output
    assert "inner_band_at_rest" in done.output
    assert "Before anybody rides" in done.output
    page = (tmp_path / "demonstrations.svg").read_text()
    assert page.startswith("<?xml")
    assert (tmp_path / "demonstrations.png").read_bytes().startswith(b"\x89PNG")
    again = CliRunner().invoke(app, asked)
    assert isinstance(again.exception, UserInputError)
    assert (tmp_path / "demonstrations.svg").read_text() == page


def test_a_panel_says_what_was_measured_and_how_a_ride_ended():
    shown = demonstrations()["outer_knees"]
    facts = result_line(shown, ridden(shown))

    first, second = measured("outer_knees")
    assert f"{first:.1f} deg (knees)" in facts
    assert f"{second:.1f} deg (base gain throughout: {Outcome.NOSE_DOWN.message} at" in facts


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"draw": "pich_deg"}, "the nearest is 'pitch_deg'"),
        ({"draw": "distance_m"}, "there is no 'distance_m'"),
        ({"section": "brakes"}, "the nearest is 'braking'"),
        ({"settings": {"base_gain": 3.0}}, "the nearest is 'base_gain_a_per_deg'"),
        ({"settings": {"base_gain_a_per_deg": 99.0}}, "base_gain_a_per_deg"),
        ({"variants": {"alone": {}}}, "variants"),
        (
            {"measure": {"how": "mean", "of": "level", "called": "level", "unit": "deg"}},
            "there is no 'level'",
        ),
    ],
)
def test_an_entry_that_can_not_be_ridden_is_refused_in_one_line(monkeypatch, change, message):
    entries = dict(shelves()["demonstrations"])
    entries["outer_knees"] = entries["outer_knees"] | change
    changed_shelves = dict(shelves()) | {"demonstrations": entries}
    monkeypatch.setattr(catalogue, "shelves", lambda: changed_shelves)

    with pytest.raises(UserInputError, match=message) as refused:
        catalogue_demonstrations()

    assert "demonstrations.outer_knees" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_numbers_come_as_json_and_nothing_is_written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    done = CliRunner().invoke(app, ["demonstrate", "--json"])

    facts = json.loads(done.stdout)
    assert list(dict.fromkeys(row["name"] for row in facts)) == list(demonstrations())
    assert not list(tmp_path.iterdir())
