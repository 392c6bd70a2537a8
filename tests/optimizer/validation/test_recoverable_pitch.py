"""What charge leaves of the current, and up to where the loop's margins hold on it."""

import dataclasses
import math
import tomllib

import numpy as np
import pytest

from optimizer.study.catalogue import CATALOGUE_FOLDER
from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from optimizer.study.tolerances import with_numbers
from optimizer.validation import recoverable_pitch as recoverable_pitch_module
from optimizer.validation.current_headroom import (
    CurrentHeadroom,
    answered_pitch,
    current_headroom,
    warning_lift,
)
from optimizer.validation.loop_margins import SPEEDS_MPS, judge_margins
from optimizer.validation.recoverable_pitch import (
    RecoverablePitch,
    in_words,
    recoverable_pitches,
)
from optimizer.validation.verdict import Grade
from plant.constants import WARNING_PERCEIVED_DEG
from plant.description.course import Course, Manoeuvre, Patch, Road, Start
from plant.description.profile_array import PROFILE_NAMES, array_to_profile
from plant.kernel.simulate import Ride
from plant.kernel.trace import trace
from tests import invented
from tests.optimizer.validation.test_validate import ROW, STUDY, changed

BOARD = invented.board()
RIDER = invented.rider(80.0, 1.78)
TORQUE = math.sqrt(3.0) / 2.0 * 60.0 / (2.0 * math.pi * 15.0)


def headroom(board, *, speed_mps=8.0, charge_ratio=0.5):
    return current_headroom(board, RIDER, speed_mps=speed_mps, charge_ratio=charge_ratio)


def test_without_sag_the_current_is_what_the_voltage_leaves_over_the_back_emf():
    # V m / sqrt(3) = e + R i at no inductance: the speed limit in the documentation of
    # MathWorks' getMotorBaseSpeed; half charge of the LG M50 is 3.7509 V (Chen et al. 2020).
    board = with_numbers(
        BOARD,
        {
            "series_resistance_ohm": 0.0005,
            "rc_resistance_ohm": 0.0,
            "phase_inductance_h": 1e-6,
            "phase_current_limit_a": 600.0,
            "battery_current_limit_a": 400.0,
        },
    )
    emf = TORQUE / 1.5 * 10.0 / 0.14

    found = headroom(board, speed_mps=10.0)

    phase_v = 0.95 * 15 * 3.7509 / math.sqrt(3.0)
    assert found.high_a == pytest.approx((phase_v - emf) / 0.063, rel=0.01)


def test_the_pack_sags_under_the_current_that_it_gives():
    # A constant power P from E behind r: I = (E - sqrt(E^2 - 4 r P)) / 2 r; derived.
    board = with_numbers(BOARD, {"phase_current_limit_a": 600.0, "rc_resistance_ohm": 0.0})

    found = headroom(board, speed_mps=8.0)

    emf = TORQUE / 1.5 * 8.0 / 0.14
    power = 1.5 * (emf * found.high_a + 0.063 * found.high_a**2) + 5.0
    source = 15 * 3.7509
    pack_a = (source - math.sqrt(source**2 - 4.0 * 0.08 * power)) / 0.16
    # The limit of 50 A on the battery's side binds, but for the electronics' and switching power.
    assert pack_a == pytest.approx(50.0, rel=0.02)


def test_a_steady_ride_drops_the_voltage_of_its_power_over_the_packs_resistance():
    # As above; the power is that of the back-EMF, the copper and the electronics.
    board = with_numbers(BOARD, {"rc_resistance_ohm": 0.0, "switching_loss_w_per_a_v": 0.0})

    found = headroom(board, speed_mps=8.0)

    emf = TORQUE / 1.5 * 8.0 / 0.14
    power = 1.5 * (emf * found.steady_a + 0.063 * found.steady_a**2) + 5.0
    source = 15 * 3.7509
    drop_v = source - 0.5 * (source + math.sqrt(source**2 - 4.0 * 0.08 * power))
    assert drop_v > 0.3
    assert source - found.bus_v == pytest.approx(drop_v, rel=1e-3)


def test_over_a_long_ride_the_packs_rc_pair_is_a_resistance():
    settled = with_numbers(BOARD, {"series_resistance_ohm": 0.05, "rc_resistance_ohm": 0.06})
    plain = with_numbers(BOARD, {"series_resistance_ohm": 0.11, "rc_resistance_ohm": 0.0})

    drops_v = [15 * 3.7509 - headroom(board).bus_v for board in (settled, plain)]

    assert drops_v[0] == pytest.approx(drops_v[1], rel=1e-3)


def test_a_steady_ride_takes_the_current_of_rolling_on_the_catalogues_asphalt_and_of_air():
    # F = Crr m g + rho CdA v^2 / 2, i = F r / Kt: road load by the textbooks, common practice; the
    # density of air is that of ISO 2533 at sea level.
    surfaces = tomllib.loads((CATALOGUE_FOLDER / "surfaces.toml").read_text(encoding="utf-8"))
    rolling_ratio = surfaces["surfaces"]["asphalt"]["rolling_ratio"]
    mass = 80.0 + BOARD.frame.frame_mass_kg + BOARD.wheel.wheel_mass_kg

    found = headroom(BOARD, speed_mps=8.0)

    force = rolling_ratio * mass * 9.80665 + 0.5 * 1.225 * RIDER.body.drag_area_m2 * 8.0**2
    assert found.steady_a == pytest.approx(force * 0.14 / TORQUE, rel=1e-6)


STEADY_BOARD = with_numbers(STUDY.board, {"rc_resistance_ohm": 0.0, "capacity_ah": 200.0})
STEADY_RIDER = STUDY.riders["baker_80"]


def steady(row, *, charge_ratio, speed_mps=8.0):
    """Return a long ride at one speed on a smooth level in the plant, and when it has settled."""
    smooth = dataclasses.replace(catalogue_surface(ASPHALT), roughness_1e6_m3=1.0)
    course = Course(
        name="level",
        title="Steadily on the level",
        road=Road(patches=(Patch(from_m=0.0, surface=smooth),)),
        manoeuvre=Manoeuvre(
            duration_s=45.0,
            start=Start.ROLLING,
            speed_mps=((0.0, speed_mps),),
            charge_ratio=charge_ratio,
        ),
        road_seed=1,
    )
    ride = Ride(
        course=course,
        rider_name="baker_80",
        rider=STEADY_RIDER,
        board=STEADY_BOARD,
        noise_seed=1,
    )
    ridden = trace(row, ride)
    return ridden, ridden.time_s > 30.0


def test_a_steady_ride_in_the_plant_has_the_same_current_bus_and_reserve():
    ridden, settled = steady(ROW, charge_ratio=0.3)
    speed = float(ridden.speed_mps[settled].mean())

    found = current_headroom(STEADY_BOARD, STEADY_RIDER, speed_mps=speed, charge_ratio=0.3)

    assert found.steady_a == pytest.approx(ridden.current_a[settled].mean(), rel=0.05)
    assert found.bus_v == pytest.approx(ridden.bus_v[settled].mean(), rel=0.005)
    reserve = ridden.torque_reserve_ratio[settled].mean()
    assert found.reserve_ratio == pytest.approx(reserve, abs=0.02)


@pytest.mark.parametrize(
    ("asked", "charge_ratio"),
    [
        ({"reserve_warning_ratio": 0.0, "bus_warning_margin_v": 10.0}, 0.1),  # low
        ({"reserve_warning_ratio": 0.0, "bus_warning_margin_v": 8.0}, 1.0),  # full
        ({"reserve_warning_ratio": 0.9, "bus_warning_margin_v": 0.0}, 0.1),  # reserve
    ],
)
def test_a_steady_ride_in_the_plant_is_warned_as_strongly(asked, charge_ratio):
    row = changed(warning_lift_deg=6.0, **asked)
    ridden, settled = steady(row, charge_ratio=charge_ratio)
    lift = ridden.warning_lift_deg[settled].mean()
    assert 1.0 < lift < 5.0  # else half and double could not be told apart
    speed = float(ridden.speed_mps[settled].mean())

    found = current_headroom(STEADY_BOARD, STEADY_RIDER, speed_mps=speed, charge_ratio=charge_ratio)

    assert warning_lift(array_to_profile(row), STEADY_BOARD, found) == pytest.approx(lift, abs=0.3)


def test_where_the_pack_has_enough_the_drive_gives_its_phase_current_and_no_more():
    found = headroom(BOARD, speed_mps=1.0, charge_ratio=1.0)

    assert found.high_a == BOARD.drive.phase_current_limit_a


def test_charge_shows_at_speed_and_not_at_walking_pace():
    at_walk = [headroom(BOARD, speed_mps=1.0, charge_ratio=charge).high_a for charge in (1.0, 0.15)]
    at_speed = [headroom(BOARD, charge_ratio=charge).high_a for charge in (1.0, 0.5, 0.15)]

    assert at_walk[1] == pytest.approx(at_walk[0], rel=0.02)
    assert at_speed[0] > 1.05 * at_speed[1] > 1.05**2 * at_speed[2]


def test_a_full_pack_leaves_less_braking_than_a_half_one_that_may_be_charged():
    board = with_numbers(BOARD, {"bus_high_v": 64.0})

    assert headroom(board, charge_ratio=1.0).low_a > headroom(board, charge_ratio=0.5).low_a


@pytest.mark.parametrize("taper_v", [0.0, 4.0, 20.0])
def test_a_pack_near_full_takes_a_falling_share_of_the_charging_current(taper_v):
    # The share is a straight line from 1 to 0 over the taper below the cut-out, common practice, no
    # source; the current of a constant power behind a resistance as above.
    numbers = {"regen_taper_v": taper_v, "rc_resistance_ohm": 0.0, "switching_loss_w_per_a_v": 0.0}
    board = with_numbers(BOARD, numbers)

    found = headroom(board, speed_mps=8.0)

    emf = TORQUE / 1.5 * 8.0 / 0.14
    power = 1.5 * (emf * found.low_a + 0.063 * found.low_a**2) + 5.0
    source = 15 * 3.7509
    pack_a = (source - math.sqrt(source**2 - 4.0 * 0.08 * power)) / 0.16
    room_v = 67.0 - (source - 0.08 * pack_a)
    share = min(room_v / taper_v, 1.0) if taper_v else 1.0
    assert -pack_a == pytest.approx(25.0 * share, rel=0.03)


def test_the_stiffness_is_answered_up_to_where_it_asks_for_all_that_is_left():
    plain = changed(inner_gain_a_per_deg=4.0, base_gain_a_per_deg=4.0, mid_gain_ratio=1.0,
                    outer_gain_ratio=1.0)  # fmt: skip
    found = headroom(BOARD)

    held = answered_pitch(plain, found)

    assert held == pytest.approx((found.high_a - found.steady_a) / 4.0, rel=1e-3)


def recoverable(row, **numbers):
    study = dataclasses.replace(STUDY, board=with_numbers(STUDY.board, numbers))
    gains = np.full((len(SPEEDS_MPS), len(STUDY.named_variants)), 2.0)
    return recoverable_pitches(study, row, gains, speeds_mps=SPEEDS_MPS)


# Invented headrooms by speed in m/s, of a light and a heavy rider: steady, most and least current
# in A, and the lift that warns, in deg.
INVENTED = {
    (1.0, "light"): (1.0, 41.0, -31.0, 0.0),
    (1.0, "heavy"): (2.0, 32.0, -22.0, 0.0),
    (4.0, "light"): (3.0, 33.0, -27.0, 0.0),
    (4.0, "heavy"): (4.0, 24.0, -30.0, 0.0),
    (9.0, "light"): (6.0, 21.0, -20.0, 0.0),
    (9.0, "heavy"): (8.0, 12.0, -40.0, WARNING_PERCEIVED_DEG),
}
LEAST_GAINS = np.array([[2.0, 5.0], [2.0, 2.0], [1.5, 2.0]])  # (speed, rider), in A/deg


def invented_packs(monkeypatch, least_gains=LEAST_GAINS):
    riders = {"light": invented.rider(50.0, 1.6), "heavy": invented.rider(100.0, 1.9)}
    names = {rider: name for name, rider in riders.items()}

    def headroom(_board, rider, *, speed_mps, charge_ratio):
        steady_a, high_a, low_a, lift_deg = INVENTED[speed_mps, names[rider]]
        return CurrentHeadroom(
            steady_a=steady_a, bus_v=60.0, high_a=high_a, low_a=low_a, reserve_ratio=lift_deg
        )

    for name, stand_in in (
        ("current_headroom", headroom),
        ("warning_lift", lambda _profile, _board, found: found.reserve_ratio),
        ("answered_pitch", lambda _profile, found: found.high_a / 10.0),
    ):
        monkeypatch.setattr(recoverable_pitch_module, name, stand_in)
    study = dataclasses.replace(STUDY, riders=riders, balance_variants={})
    return recoverable_pitches(study, ROW, least_gains, speeds_mps=(1.0, 4.0, 9.0))


def test_the_least_of_speeds_and_riders_counts_where_no_warning_comes(monkeypatch):
    full, half, low = invented_packs(monkeypatch)

    # At 1 m/s the heavy rider has 30 A for 5 A/deg; at 9 m/s 4 A for 2 A/deg, but is warned.
    assert (full.balanced_deg, full.worst_mps) == (6.0, 1.0)
    assert full.answered_deg == 2.1  # 21 A of the light one at 9 m/s
    assert (full.driving_left_a, full.braking_left_a) == (4.0, 24.0)
    assert full.warned_from_mps == 9.0
    assert [pack.pack for pack in (full, half, low)] == ["full", "half", "low"]
    assert (full.charge_ratio, half.charge_ratio) == (1.0, 0.5)
    assert low.charge_ratio == STUDY.riding_day.least_charge_ratio


def test_what_needs_no_balancing_recovers_from_any_pitch_and_an_unstable_loop_from_none(
    monkeypatch,
):
    assert invented_packs(monkeypatch, 0.0 * LEAST_GAINS)[0].balanced_deg > 1e9
    assert invented_packs(monkeypatch, np.inf * LEAST_GAINS)[0].balanced_deg == 0.0


@pytest.mark.parametrize(
    ("balanced_deg", "warned_from_mps", "words"),
    [
        (12.4, math.inf, "low pack (15 %) 12 deg at 8 m/s, with the whole gain up to 7 deg"),
        (
            12.4,
            5.0,
            "low pack (15 %) 12 deg at 8 m/s, with the whole gain up to 7 deg, warned from 5 m/s",
        ),
        (math.inf, 0.5, "low pack (15 %) warned at every speed"),
        (math.inf, math.inf, "low pack (15 %) without limit"),
    ],
)
def test_a_pack_is_told_in_words(balanced_deg, warned_from_mps, words):
    found = RecoverablePitch(
        pack="low",
        charge_ratio=0.15,
        balanced_deg=balanced_deg,
        answered_deg=6.8,
        driving_left_a=20.0,
        braking_left_a=30.0,
        worst_mps=8.0,
        warned_from_mps=warned_from_mps,
    )

    assert in_words(found) == words


def test_a_lower_pack_recovers_from_less_pitch():
    full, half, low = (pack.balanced_deg for pack in recoverable(ROW))

    assert full >= half >= low
    assert full > low


def test_where_a_rider_is_warned_already_the_recoverable_pitch_does_not_count():
    place = PROFILE_NAMES.index("reserve_warning_ratio")
    silent, warning = ROW.copy(), ROW.copy()
    silent[place], warning[place] = 0.0, 0.9

    low = [recoverable(row, cells_in_series=14)[2] for row in (silent, warning)]

    assert math.isinf(low[0].warned_from_mps)
    assert low[1].warned_from_mps <= 8.0
    assert low[1].balanced_deg > low[0].balanced_deg


@pytest.mark.parametrize(
    ("numbers", "grade"),
    [
        ({"cells_in_series": 11, "bus_low_v": 25.0}, Grade.FAIL),
        ({}, Grade.MARGINAL),  # 17 deg of 20
        (
            {
                "cells_in_series": 18,
                "phase_current_limit_a": 180.0,
                "battery_current_limit_a": 90.0,
            },
            Grade.PASS,
        ),
    ],
)
def test_the_grade_follows_how_far_down_a_nose_can_be_balanced(numbers, grade):
    study = dataclasses.replace(STUDY, board=with_numbers(STUDY.board, numbers))
    silent = changed(reserve_warning_ratio=0.0, bus_warning_margin_v=0.0)

    assert judge_margins(study, silent).grade is grade


def test_a_pack_that_runs_out_long_before_the_nose_touches_fails_unless_it_is_said():
    weak = with_numbers(STUDY.board, {"cells_in_series": 11, "bus_low_v": 25.0})
    study = dataclasses.replace(STUDY, board=weak)
    silent = changed(reserve_warning_ratio=0.0, bus_warning_margin_v=0.0)

    verdict = judge_margins(study, silent)

    assert verdict.grade is Grade.FAIL
    assert "reserve_warning_ratio" in verdict.change
    assert verdict.numbers["balanced_low_pack_deg"] < 16.0
    assert judge_margins(study, changed(reserve_warning_ratio=0.6)).grade is not Grade.FAIL
