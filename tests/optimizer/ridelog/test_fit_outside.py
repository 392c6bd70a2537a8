"""Fits against what this project did not write: MuJoCo, motulator, pybamm, scipy, a paper."""

import collections

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import binom

from optimizer.ridelog.fit_heat import fit_heat
from optimizer.ridelog.fit_pack import charge_ratio, fit_pack
from optimizer.ridelog.fit_road import fit_road, masses
from optimizer.ridelog.fitting import fit_all
from optimizer.ridelog.mapping import load_mapping
from optimizer.ridelog.resampling import RideLog, load_log
from optimizer.ridelog.robust_fit import Fit
from plant.lanes import AIR_DENSITY_KG_M3
from tests import invented
from tests.reference import logged_ride
from tests.reference.logged_truth import drawn_truth

# Nothing was tuned on these: each has a board, a rider, an intent and a recorder of its own.
SEEDS = range(2000, 2050)
# Wider than this and an interval would hold anything: half of it over the true value.
WIDEST = {
    "expected_current_a_per_mps2": 0.06,
    "rolling_ratio": 0.45,
    "drag_area_m2": 0.6,
    "kv_rpm_per_v": 0.002,
    "phase_resistance_ohm": 0.01,
    "phase_inductance_h": 0.03,
    "rest_voltage_v": 0.001,
    "rest_fall_v_per_ah": 0.15,
    "series_resistance_ohm": 0.01,
    "rc_resistance_ohm": 0.1,
    "rc_time_s": 0.1,
    "attitude_time_s": 0.05,
    "inner_gain_a_per_deg": 0.02,
    "inner_band_deg": 0.06,
    "base_gain_a_per_deg": 0.02,
    "rate_gain_a_per_deg_per_s": 0.01,
}


@pytest.fixture(scope="module")
def recovered(tmp_path_factory):
    """Return, by name, whether the interval holds the truth and its half over it, each seed."""
    folder = tmp_path_factory.mktemp("logs")
    held, half = collections.Counter(), collections.defaultdict(list)
    for seed in SEEDS:
        truth = drawn_truth(seed)
        (folder / "m.toml").write_text(logged_ride.mapping(truth))
        mapping = load_mapping(folder / "m.toml")
        table = logged_ride.logged(truth, seed=seed, duration_s=150.0)
        table.to_parquet(folder / "ride.parquet")
        log, _ = load_log(folder / "ride.parquet", mapping)
        for fit in fit_all(log, mapping).values():
            for name in fit.names if isinstance(fit, Fit) else ():
                true = getattr(truth, name, None)
                if true is not None:
                    _, low, high = fit.estimate(name)
                    held[name] += low <= true <= high
                    half[name].append((high - low) / 2.0 / abs(true))
    return held, half


@pytest.mark.slow
@pytest.mark.parametrize("name", WIDEST)
def test_intervals_hold_the_truth_as_often_as_they_say(recovered, name):
    held, half = recovered

    # Fewer hits than this come once in two thousand times when the coverage is 95 %.
    assert held[name] >= binom.ppf(5e-4, len(SEEDS), 0.95)
    assert np.median(half[name]) < WIDEST[name]


def log_of(*, dt_s, **signals):
    n_samples = len(next(iter(signals.values())))
    return RideLog(
        dt_s=dt_s,
        time_s=np.arange(n_samples) * dt_s,
        part=np.zeros(n_samples, dtype=np.int64),
        signals=signals,
    )


def test_a_coast_down_gives_the_road_load_of_the_published_worked_example():
    # Martin et al. 1998, J. Appl. Biomech. 14:276, worked example: m 90 kg, rho 1.2234, drag area
    # 0.2565 and 0.0044 of the wheels, Crr 0.0032, bearings (91 + 8.7 v) mN, wheels 0.14 kg m2 on
    # 0.311 m; at 8.36 m/s and 2.94 m/s of wind 158.8 W of air and 23.6 W of rolling.
    drag, rolling, felt = 0.2565 + 0.0044, 0.0032, 90.0 + 0.14 / 0.311**2
    board, random = invented.board(), np.random.default_rng(4)
    rider = 90.0 - board.wheel.wheel_mass_kg - board.frame.frame_mass_kg
    _, ours = masses(board, rider)

    def slowing(_, speed):
        bearings = (91.0 + 8.7 * speed) * 1e-3
        air = 0.5 * 1.2234 * drag * speed * speed
        return -(rolling * 90.0 * 9.80665 + bearings + air) / felt

    speeds = []
    for _ in range(6):  # six coast-downs from 12 m/s
        down = solve_ivp(slowing, (0.0, 90.0), [12.0], t_eval=np.arange(0.0, 90.0, 0.05), rtol=1e-9)
        speeds.append(down.y[0])
    speed = np.concatenate(speeds)
    part = np.repeat(np.arange(6), len(speeds[0]))
    noise = random.normal(0.0, 0.01, len(speed))
    log = RideLog(
        dt_s=0.05,
        time_s=np.arange(len(speed)) * 0.05,
        part=part,
        signals={"speed_mps": speed + noise, "current_a": np.zeros(len(speed))},
    )

    fit = fit_road(log, board, rider)

    # Our board's wheel turns with another inertia and our air is a little denser.
    found_drag = fit.estimate("drag_area_m2")[0] * felt / ours * AIR_DENSITY_KG_M3 / 1.2234
    power = 0.5 * 1.2234 * found_drag * (8.36 + 2.94) ** 2 * 8.36
    resting = fit.estimate("rolling_ratio")[0] * felt / ours * 90.0 * 9.80665 * 8.36
    # The bearings, 1.37 W in the example, are in our rolling and drag.
    assert power * 0.2565 / drag == pytest.approx(158.8 * 0.2565 / drag, rel=0.08)
    assert resting == pytest.approx(23.63 + 1.37, rel=0.05)


def test_a_thevenin_pack_of_another_package_is_recovered():
    pybamm = pytest.importorskip("pybamm")
    pybamm.set_logging_level("ERROR")
    time_s = np.arange(0.0, 600.0, 0.5)
    amps = 6.0 + 5.0 * np.sign(np.sin(0.11 * time_s)) + 3.0 * np.sin(0.9 * time_s)
    model = pybamm.equivalent_circuit.Thevenin()
    values = model.default_parameter_values
    values.update(
        {
            "Current function [A]": pybamm.Interpolant(time_s, amps, pybamm.t),
            "R0 [Ohm]": 0.006,
            "R1 [Ohm]": 0.004,
            "C1 [F]": 25.0 / 0.004,
            "Initial SoC": 0.7,
            "Entropic change [V/K]": 0.0,
        }
    )
    solution = pybamm.Simulation(model, parameter_values=values).solve(time_s)
    noise = np.random.default_rng(5).normal(0.0, 0.02, len(time_s))
    log = log_of(dt_s=0.5, bus_v=15.0 * solution["Voltage [V]"](time_s) + noise, pack_a=amps)

    fit = fit_pack(log, invented.board())

    assert fit.estimate("series_resistance_ohm")[0] == pytest.approx(15.0 * 0.006, rel=0.05)
    assert fit.estimate("rc_resistance_ohm")[0] == pytest.approx(15.0 * 0.004, rel=0.15)
    assert fit.estimate("rc_time_s")[0] == pytest.approx(25.0, rel=0.2)


def test_the_state_of_charge_is_that_of_the_published_cell():
    # LG M50, Chen et al. 2020, J. Electrochem. Soc. 167:080534: 3.7509 V at half charge.
    assert charge_ratio(15 * 3.7509, 15) == pytest.approx(0.5)


def test_heat_capacity_and_resistance_are_recovered_from_an_integrated_ride():
    board, random = invented.board(), np.random.default_rng(6)
    capacity, resistance, air = 700.0, 0.9, 18.0
    time_s = np.arange(0.0, 1800.0, 0.5)
    current = 25.0 + 20.0 * np.sign(np.sin(time_s / 70.0))

    def warming(t, kelvin):
        amps = np.interp(t, time_s, current)
        ohm = board.motor.phase_resistance_ohm * (1.0 + 0.00393 * (kelvin - 20.0))
        return (1.5 * ohm * amps**2 - (kelvin - air) / resistance) / capacity

    warm = solve_ivp(warming, (0.0, 1800.0), [25.0], t_eval=time_s, max_step=1.0).y[0]
    shown = np.round(warm + random.normal(0.0, 0.3, len(time_s)))
    fit = fit_heat(log_of(dt_s=0.5, current_a=current, winding_c=shown), board, winding=True)

    found = fit.estimate("winding_heat_capacity_j_per_k")[0]
    assert found == pytest.approx(capacity, rel=0.05)
    assert fit.estimate("winding_resistance_k_per_w")[0] == pytest.approx(resistance, rel=0.05)
    assert fit.estimate("air_c")[0] == pytest.approx(air, abs=1.5)
