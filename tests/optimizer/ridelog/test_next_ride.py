"""The proposed test ride narrows what it is proposed for, more than others do."""

import dataclasses
import functools
import math

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from optimizer.cli.output.ridelog import print_next_ride
from optimizer.ridelog.fits.heat import fit_heat
from optimizer.ridelog.fits.motor import fit_motor
from optimizer.ridelog.fits.pack import fit_pack
from optimizer.ridelog.fits.road import fit_road
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.ridelog.next_ride import (
    MANOEUVRES,
    proposal_facts,
    proposals,
    reserve_a,
    uncertain_numbers,
)
from optimizer.ridelog.study_from_log import rider_of
from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.log_data.resampling import RideLog, load_log
from tests.reference import logged_ride
from tests.reference.constants import GRAVITY_MPS2
from tests.reference.logged_truth import drawn_truth

PULLS, SPEEDS, LOADS, CLIMB = MANOEUVRES
SEEDS = (7, 8, 11, 12, 15)  # not those that judge the intervals
FEW = SEEDS[:2]


def in_turn(speeds_mps, *, each_s):
    """Return speeds that a rider asks for in turn, as a function of the number of steps."""

    def asked(n_steps):
        turns = np.arange(n_steps) * logged_ride.STEP_S // each_s
        return np.array(speeds_mps)[turns.astype(int) % len(speeds_mps)]

    return asked


def cruising(n_steps):
    return 5.5 + 0.5 * np.sin(2.0 * math.pi * np.arange(n_steps) * logged_ride.STEP_S / 30.0)


ASKED = {
    PULLS: in_turn((7.0, 1.5), each_s=6.0),
    SPEEDS: in_turn((1.5, 8.0), each_s=20.0),
    LOADS: in_turn((8.5, 0.8), each_s=45.0),
    None: cruising,
}


@pytest.fixture(scope="module")
def read(tmp_path_factory):
    """Return what reads a table as the log of a truth, with its mapping."""
    folder = tmp_path_factory.mktemp("rides")

    def on_grid(table, truth):
        log, mapping = folder / "ride.csv", folder / "ride.mapping.toml"
        table.to_csv(log, index=False)
        mapping.write_text(logged_ride.mapping(truth))
        known = load_mapping(mapping)
        return load_log(log, known)[0], known

    return on_grid


@pytest.fixture(scope="module")
def ride(read):
    """Return a short log and its mapping."""
    truth = level_truth(8)
    return read(logged_ride.logged(truth, seed=8, duration_s=20.0), truth)


def fitted(log, mapping):
    """Return the fits of the board's numbers."""
    return {
        "road load": fit_road(log, mapping.board, mapping.rider_mass_kg),
        "motor": fit_motor(log, mapping.board),
        "pack": fit_pack(log, mapping.board),
    }


def level_truth(seed):
    return dataclasses.replace(drawn_truth(seed), hilliness=0.3)


def joined(first, second):
    """Return two rides of one board as one log with a gap."""
    second = second.assign(
        t=second["t"] + first["t"].iloc[-1] + 3.0,
        altitude=second["altitude"] + first["altitude"].iloc[-1] - second["altitude"].iloc[0],
    )
    return pd.concat([first, second], ignore_index=True)


@pytest.fixture(scope="module")
def narrowed(read):
    """Return what gives, by seed, proposals of a dull ride and how much less is open after another.

    The second is a mapping from the manoeuvre added, None for more of the dull ride, and the name
    of a number to half its interval before over that after.
    """

    @functools.cache
    def found(seed):
        truth = level_truth(seed)
        dull = logged_ride.logged(truth, seed=seed, duration_s=90.0, asked=cruising)
        log, mapping = read(dull, truth)
        fits = fitted(log, mapping)
        before = {each.name: each.half for each in uncertain_numbers(fits, log, mapping)}
        less = {}
        for manoeuvre in (PULLS, SPEEDS, None):
            more = logged_ride.logged(
                truth, seed=seed + 1000, duration_s=80.0, asked=ASKED[manoeuvre]
            )
            whole, _ = read(joined(dull, more), truth)
            after = uncertain_numbers(fitted(whole, mapping), whole, mapping)
            less[manoeuvre] = {each.name: before[each.name] / each.half for each in after}
        return proposals(fits, log, mapping), less

    return found


@pytest.mark.parametrize(
    "seed",
    [
        pytest.param(seed, marks=pytest.mark.slow if seed in FEW else pytest.mark.proof)
        for seed in SEEDS
    ],
)
def test_the_proposed_ride_narrows_its_number_more_than_riding_on_does(narrowed, seed):
    [first, *_], less = narrowed(seed)
    name = first.uncertain[0].name

    assert less[first.manoeuvre][name] > 2.0 * less[None][name]


@pytest.mark.parametrize(
    "seeds",
    [pytest.param(FEW, marks=pytest.mark.slow), pytest.param(SEEDS, marks=pytest.mark.proof)],
    ids=len,
)
@pytest.mark.parametrize(
    ("manoeuvre", "other", "names"),
    [
        (SPEEDS, PULLS, ("rolling_ratio", "drag_area_m2")),
        (PULLS, SPEEDS, ("kv_rpm_per_v", "phase_resistance_ohm")),
    ],
)
def test_each_ride_narrows_its_own_numbers_more_than_the_other_one(
    narrowed, seeds, manoeuvre, other, names
):
    for name in names:
        own, others = (
            np.median([narrowed(seed)[1][ridden][name] for seed in seeds])
            for ridden in (manoeuvre, other)
        )
        assert name in manoeuvre.shows
        assert own > 1.1 * others > 1.1


@pytest.mark.slow
@pytest.mark.parametrize("other", [PULLS, SPEEDS, None])
def test_loads_that_last_narrow_the_slow_part_of_a_pack_most(read, other):
    truth = level_truth(SEEDS[0])

    def half(manoeuvre):
        table = logged_ride.logged(truth, seed=5, duration_s=270.0, asked=ASKED[manoeuvre])
        log, mapping = read(table, truth)
        _, low, high = fit_pack(log, mapping.board).estimate("rc_resistance_ohm")
        return 0.5 * (high - low)

    assert "rc_resistance_ohm" in LOADS.shows
    assert half(LOADS) < 0.7 * half(other)


def test_a_climb_and_a_stand_narrow_the_heat_of_a_winding(ride):
    _, mapping = ride
    random = np.random.default_rng(1)
    time_s = np.arange(6000) * 0.1
    mixed = 5.0 + 15.0 * np.abs(np.sin(time_s / 7.0)) * random.uniform(0.5, 1.5, len(time_s))

    def half(current):
        # One body between loss and air, by Euler steps; copper as in IEC 60287, from memory.
        warm = [25.0]
        for each in current[:-1]:
            loss = 1.5 * 0.05 * (1.0 + 0.00393 * (warm[-1] - 20.0)) * each**2
            warm.append(warm[-1] + 0.1 / 400.0 * (loss - (warm[-1] - 20.0) / 1.2))
        log = RideLog(
            dt_s=0.1,
            time_s=time_s,
            part=np.zeros(len(time_s), dtype=np.int64),
            signals={
                "current_a": current,
                "winding_c": np.array(warm) + random.normal(0.0, 0.5, len(time_s)),
            },
        )
        fit = fit_heat(log, mapping.board, winding=True)
        _, low, high = fit.estimate("winding_heat_capacity_j_per_k")
        return 0.5 * (high - low)

    assert "winding_heat_capacity_j_per_k" in CLIMB.shows
    assert half(np.where(time_s < 300.0, 40.0, 0.5)) < 0.2 * half(mixed)


def fit_of(**estimates):
    """Return a fit of numbers, each with the ends of its interval."""
    rows = np.array(list(estimates.values()), dtype=np.float64)
    return Fit(
        title="",
        names=tuple(estimates),
        value=rows.mean(axis=1),
        low=rows[:, 0],
        high=rows[:, 1],
        profiled=np.zeros(len(rows), dtype=np.bool_),
        at_bound=np.zeros(len(rows), dtype=np.bool_),
        correlation=np.eye(len(rows)),
        time_s=np.zeros(1),
        residual=np.zeros(1),
        residual_unit="",
    )


def test_what_is_proposed_follows_from_the_intervals(ride):
    log, mapping = ride
    sure = {"kv_rpm_per_v": (15.0, 15.01), "phase_resistance_ohm": (0.05, 0.0501)}
    vague_drag = {"road load": fit_of(drag_area_m2=(0.2, 1.0)), "motor": fit_of(**sure)}
    vague_kv = {
        "road load": fit_of(drag_area_m2=(0.59, 0.61)),
        "motor": fit_of(**sure | {"kv_rpm_per_v": (13.0, 17.0)}),
    }
    all_sure = {"road load": fit_of(drag_area_m2=(0.6, 0.601)), "motor": fit_of(**sure)}

    assert [each.manoeuvre for each in proposals(vague_drag, log, mapping)] == [SPEEDS]
    assert [each.manoeuvre for each in proposals(vague_kv, log, mapping)] == [PULLS]
    assert proposals(all_sure, log, mapping) == []


def test_a_log_without_a_speed_has_proposals_too(ride):
    log, mapping = ride
    empty = {"speed_mps": np.full(len(log.time_s), np.nan)}
    fits = {"motor": fit_of(kv_rpm_per_v=(13.0, 17.0), phase_resistance_ohm=(0.05, 0.0501))}

    for signals in (empty, {}):
        [found] = proposals(fits, dataclasses.replace(log, signals=signals), mapping)
        assert found.uncertain[0].speed_mps == 1.0


def test_an_interval_of_what_an_acceleration_takes_may_reach_to_none(ride):
    log, mapping = ride
    fits = {"road load": fit_of(expected_current_a_per_mps2=(0.0, 40.0)), "motor": "needs duty"}

    [found] = proposals(fits, log, mapping)

    assert math.isfinite(found.move_a)


def test_the_lines_say_number_interval_and_what_it_moves(ride, capsys):
    log, mapping = ride
    fits = {"road load": fit_of(drag_area_m2=(0.3, 0.9)), "motor": "needs the duty"}
    [found] = proposals(fits, log, mapping)

    print_next_ride(Console(width=400), [found])
    lines = capsys.readouterr().out.split("\n")

    assert SPEEDS.text in lines[1]
    assert "drag_area_m2 (0.6) is known to ± 50 %" in lines[2]
    assert f"± {found.move_a:.2g} A" in lines[2]
    [facts] = proposal_facts([found])
    assert facts["numbers"][0]["half"] == pytest.approx(0.3)
    print_next_ride(Console(width=400), [])
    assert "No test ride" in capsys.readouterr().out


def test_rolling_takes_from_the_reserve_what_a_force_balance_says(ride):
    _, mapping = ride
    board, rider = mapping.board, rider_of(mapping)
    motor = dataclasses.replace(board.motor, saturation_ratio=0.0)
    board = dataclasses.replace(board, motor=motor)
    weight_n = GRAVITY_MPS2 * (
        mapping.rider_mass_kg + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    )
    torque_per_amp = 1.5 * 60.0 / (2.0 * math.pi * math.sqrt(3.0) * motor.kv_rpm_per_v)
    more_a = 0.01 * weight_n * math.cos(math.atan(0.1)) * board.wheel.wheel_radius_m
    more_a /= torque_per_amp

    easy, hard = (
        reserve_a({"rolling_ratio": ratio}, board, rider, speed_mps=2.0) for ratio in (0.01, 0.02)
    )

    # At 2 m/s the phase limit binds, so what is available stays.
    assert easy - hard == pytest.approx(more_a, rel=0.03)
