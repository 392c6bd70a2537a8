"""The battery against textbook circuits, closed forms and published cell data."""

import dataclasses

import numpy as np
import pytest
from scipy.optimize import brentq

from plant.description.cells import charge_of, open_circuit_voltage
from plant.description.course import Start
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.lane_init import lane_template
from plant.kernel.lane_layout import WIDTH, R
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import ride_lanes, simulate
from plant.physics.battery import bus_voltage
from tests import invented_rides
from tests.plant import rig

# OpenStax, University Physics, electromotive force: 12.00 V behind 0.100 ohm.
EMF_V, INNER_OHM = 12.0, 0.1
HALF_CHARGE_CELL_V = 3.7509
TWELVE_VOLT_PACK = {
    "cells_in_series": EMF_V / HALF_CHARGE_CELL_V,
    "charge_ratio_now": 0.5,
    "per_charge": 0.0,
    "rc_resistance_ohm": 0.0,
    "series_resistance_ohm": INNER_OHM,
}


@pytest.mark.parametrize(
    ("load_ohm", "current_a", "terminal_v"), [(0.5, 20.0, 10.0), (10.0, 1.188, 11.88)]
)
def test_terminal_voltage_under_a_textbook_load(load_ohm, current_a, terminal_v):
    # OpenStax: a 0.500 ohm load draws 20.00 A at 10.00 V (200 W), 10.00 ohm draws 1.188 A.
    voltage, current = bus_voltage(EMF_V, INNER_OHM, terminal_v**2 / load_ohm)

    assert voltage == pytest.approx(terminal_v, rel=2e-4)
    assert current == pytest.approx(current_a, rel=5e-4)


def test_a_constant_power_load_draws_the_closed_form_current():
    # I = (E - sqrt(E^2 - 4 r P)) / 2 r, up to P_max = E^2 / 4 r.
    power = np.linspace(0.0, 359.0, WIDTH)

    ridden = rig.run(
        rig.QUIET | rig.HELD | TWELVE_VOLT_PACK | {"standby_power_w": power}, seconds=0.05
    )

    current = (EMF_V - np.sqrt(EMF_V**2 - 4.0 * INNER_OHM * power)) / (2.0 * INNER_OHM)
    np.testing.assert_allclose(ridden.end["battery_a"], current, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(ridden.end["bus_v"], EMF_V - INNER_OHM * current, rtol=1e-9)


def test_a_load_beyond_the_largest_power_ends_the_ride_on_low_voltage():
    power = np.where(np.arange(WIDTH) < 4, 355.0, 365.0)
    rows = TWELVE_VOLT_PACK | {"standby_power_w": power, "bus_low_v": 4.0}

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=0.05)

    assert ridden.outcome == [Outcome.RIDDEN] * 4 + [Outcome.BUS_TOO_LOW] * 4
    assert all(np.isfinite(values).all() for values in ridden.end.values())


def test_a_weak_pack_ends_a_launch_on_low_voltage_with_finite_metrics():
    launch = invented_rides.rides(("launch",))[2]
    empty = invented_rides.course(
        "empty",
        invented_rides.road(grade_percent=((0.0, 0.0), (3.0, 25.0))),
        invented_rides.manoeuvre(
            8.0, ((0.0, 0.0), (0.2, 6.0)), start=launch.course.manoeuvre.start, charge_ratio=0.01
        ),
    )

    ridden = simulate(invented_rides.profile_row()[None, :], [invented_rides.ride(empty, 105.0)])

    assert ridden.outcome[0, 0] == Outcome.BUS_TOO_LOW
    assert ridden.metrics.shape == (1, 1, len(METRIC_NAMES))
    assert np.isfinite(invented_rides.always_measured(ridden)).all()


@pytest.mark.parametrize("n_sub", [1, 4])
@pytest.mark.parametrize("series_resistance_ohm", [1.4, 2.0])
def test_more_than_the_pack_can_give_ends_a_ride_whatever_the_cut_out(series_resistance_ohm, n_sub):
    # Ohm's law gives no voltage beyond E^2 / 4 r; at a cut-out of 4 V, half of E would ride on.
    # The window counts the electronics, not the switching losses: at its edge more is drawn.
    hill = invented_rides.course(
        "hill",
        invented_rides.road(grade_percent=((0.0, 0.0), (3.0, 15.0))),
        invented_rides.manoeuvre(6.0, ((0.0, 0.0), (0.3, 5.0)), start=Start.STANDING),
    )
    up = invented_rides.ride(hill)
    battery = dataclasses.replace(
        up.board.battery, series_resistance_ohm=series_resistance_ohm, bus_low_v=4.0
    )
    ride = dataclasses.replace(up, board=dataclasses.replace(up.board, battery=battery))
    row = invented_rides.profile_row()[None, :]

    ridden = simulate(row, [ride], n_sub=n_sub)

    _, record = ride_lanes(
        row, ride, n_sub=n_sub, probe=((R.source_v, R.rc_voltage_v, R.battery_a, R.bus_v), 1)
    )
    source, slow, drawn, bus = record[~np.isnan(record[:, 0, 0]), :, 0].T
    assert ridden.outcome[0, 0] == Outcome.BUS_TOO_LOW
    assert np.isfinite(invented_rides.always_measured(ridden)).all()
    assert 1.0 < ridden.column("ride_time_s")[0, 0] < hill.manoeuvre.duration_s
    np.testing.assert_allclose(bus, source - slow - series_resistance_ohm * drawn, atol=0.01)


@pytest.mark.parametrize(
    ("charge_ratio", "cell_v"),
    list(
        zip(
            np.linspace(0.0, 1.0, 11),
            (2.5, 3.2959, 3.4852, 3.5814, 3.6670, 3.7509, 3.8406, 3.9479, 4.0421, 4.0967, 4.2),
            strict=True,
        )
    ),
)
def test_rest_voltage_meets_the_published_cell(charge_ratio, cell_v):
    # LG M50: Chen et al. 2020, J. Electrochem. Soc. 167:080534, read through pybamm.
    assert open_circuit_voltage(charge_ratio, "nmc") == pytest.approx(cell_v, abs=1e-12)


def test_rest_voltage_is_straight_between_the_points_held_below_and_rising_above():
    assert open_circuit_voltage(0.525, "nmc") == pytest.approx((3.7509 + 3.7983) / 2.0, abs=1e-12)
    assert open_circuit_voltage(-0.2, "nmc") == 2.5
    # A charged cell rises on along its last slope: 76.4 mV for a twentieth of its charge.
    assert open_circuit_voltage(1.1, "nmc") == pytest.approx(4.2 + 2.0 * 0.0764, abs=1e-12)


@pytest.mark.parametrize("chemistry", ["nmc", "lfp"])
def test_the_kernel_has_the_rest_voltage_of_each_chemistry_from_empty_to_beyond_full(chemistry):
    launch = invented_rides.rides(("launch",))[0]
    battery = dataclasses.replace(launch.board.battery, chemistry=chemistry)
    rows = lane_template(
        dataclasses.replace(launch.board, battery=battery),
        launch.rider,
        launch.course,
        noise_seed=1,
        grade_rad=0.0,
        n_sub=1,
    )
    cell = {name: rows[R[name] // WIDTH] for name in R.__members__ if name.startswith("rest_")}
    charge = np.array([-0.1, 0.0, 0.02, 0.33, 0.5, 0.97, 1.0, 1.04])

    ridden = rig.run(
        rig.QUIET | rig.HELD | cell | {"charge_ratio_now": charge, "per_charge": 0.0}, seconds=0.04
    )

    expected = [battery.cells_in_series * open_circuit_voltage(each, chemistry) for each in charge]
    np.testing.assert_allclose(ridden.end["source_v"], expected, rtol=1e-12)
    for each in (0.1, 0.42, 0.93):
        assert charge_of(open_circuit_voltage(each, chemistry), chemistry) == pytest.approx(each)


def test_the_slow_voltage_drop_reaches_63_percent_after_its_time_constant():
    rows = TWELVE_VOLT_PACK | {
        "series_resistance_ohm": 1e-4,
        "rc_resistance_ohm": 1e-3,
        "rc_time_s": 2.0,
        "per_rc_time": 0.5,
        "standby_power_w": 120.0,
    }

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=6.0, record=("rc_voltage_v",))

    # 10 A through 1 mohm: the pack current grows by 0.1 % only as the drop builds up.
    drop = ridden.signal["rc_voltage_v"][:, 0]
    time_s = np.arange(1, 6001) * 0.001
    np.testing.assert_allclose(drop, 0.01 * -np.expm1(-time_s / 2.0), rtol=2e-3, atol=1e-5)


def test_charge_is_the_current_drawn_over_the_capacity():
    rows = TWELVE_VOLT_PACK | {"standby_power_w": 200.0, "per_charge": 1.0 / (3600.0 * 2.0)}

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=3.0, record=("battery_a",))

    drawn = np.sum(ridden.signal["battery_a"], axis=0) * 0.001 / (2.0 * 3600.0)
    np.testing.assert_allclose(0.5 - ridden.end["charge_ratio_now"], drawn, rtol=1e-9)


def test_braking_a_full_pack_raises_the_bus_until_the_drive_cuts_out():
    row = invented_rides.profile_row()
    row[PROFILE_NAMES.index("warning_lift_deg")] = 0.0
    steep = invented_rides.course(
        "full_pack_descent",
        invented_rides.road(grade_percent=((0.0, 0.0), (6.0, -15.0))),
        invented_rides.manoeuvre(8.0, ((0.0, 5.0),), charge_ratio=1.0),
    )
    ride = invented_rides.ride(steep, 105.0)
    strict = dataclasses.replace(
        ride.board, battery=dataclasses.replace(ride.board.battery, bus_high_v=63.3)
    )

    ridden = simulate(row[None, :], [ride, dataclasses.replace(ride, board=strict)])

    # 15 cells at 4.2 V are 63 V at rest; the loose limit is 67 V.
    assert ridden.outcome[0].tolist() == [Outcome.RIDDEN, Outcome.BUS_TOO_HIGH]
    assert 63.3 < ridden.column("bus_high_v")[0, 0] < 67.0
    assert ridden.column("ride_time_s")[0, 1] < ridden.column("ride_time_s")[0, 0]


@pytest.mark.parametrize("taper_v", [0.5, 2.0, 6.0])
def test_a_tapering_drive_charges_by_the_bus_voltage_that_its_charging_makes(taper_v):
    # Kirchhoff: V = E + r I, with I = limit (high - V) / band, found by halving.
    board = invented_rides.rides(("launch",))[0].board
    ohm, limit_a, high_v = 0.08, board.drive.regen_current_limit_a, 67.0
    source_v = np.linspace(60.0, 67.5, WIDTH)
    rows = {
        "cells_in_series": source_v / HALF_CHARGE_CELL_V,
        "charge_ratio_now": 0.5,
        "per_charge": 0.0,
        "rc_resistance_ohm": 0.0,
        "standby_power_w": 0.0,
        "switching_loss_w_per_a_v": 0.0,
        "bus_high_v": high_v,
        "regen_taper_v": taper_v,
        "per_taper_v": 1.0 / (taper_v + ohm * limit_a),
        "speed_mps": 8.0,
    }
    asked = rig.held_current(-300.0) | {"current_a": 0.0, "regen_current_limit_a": limit_a}

    ridden = rig.run(
        rig.QUIET | rig.HELD | asked | rows,
        seconds=0.3,
        course=rig.flat(0.3, 8.0),
        record=("battery_a", "bus_v"),
    )

    def spare(bus, source):
        allowed = limit_a * min(max((high_v - bus) / taper_v, 0.0), 1.0)
        return source + ohm * allowed - bus

    inside = source_v < high_v  # beyond, the drive has cut out
    wanted = np.array([brentq(spare, source, 80.0, args=(source,)) for source in source_v])
    assert np.count_nonzero(inside & (wanted > high_v - taper_v)) >= 2 or taper_v < 1.0
    np.testing.assert_allclose(ridden.signal["bus_v"][-1][inside], wanted[inside], atol=0.02)
    charged = -ridden.signal["battery_a"][-1]
    np.testing.assert_allclose(charged[inside], ((wanted - source_v) / ohm)[inside], atol=0.1)
