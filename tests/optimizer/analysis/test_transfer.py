"""A profile goes over to another board by physics, and what is left to its optimum is said."""

import dataclasses
import json

import numpy as np
import pytest

from optimizer.analysis.transfer import distance_to_optimum, scaling
from optimizer.cli import main
from optimizer.execution.evaluate import rules_of
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_profile, load_study
from optimizer.study.scaling import transferred
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from tests.optimizer.small_study import write_small_study

SLOW, FAST = (load_study(STUDIES_FOLDER / f"motor_{kv}") for kv in (15, 17))
ROW = profile_to_array(SLOW.baseline)


def value(row, name):
    return row[PROFILE_NAMES.index(name)]


def test_currents_go_with_the_speed_constant():
    # Torque per amp is 8.27 / Kv: the same torque takes 17 / 15 of the current.
    by = scaling(SLOW, FAST)

    assert by.current_ratio == pytest.approx(17.0 / 15.0)
    moved = transferred(ROW, by, FAST.board)
    for name in ("inner_gain_a_per_deg", "rate_gain_a_per_deg_per_s", "expected_current_a_per_mps2",
                 "integral_clamp_a"):  # fmt: skip
        exact = value(ROW, name) * 17.0 / 15.0
        assert value(moved, name) == float(f"{exact:.3g}")  # three digits to type
    for name in ("inner_band_deg", "rate_filter_hz", "warning_lift_deg", "mid_gain_ratio"):
        assert value(moved, name) == value(ROW, name)


def test_a_larger_wheel_and_a_heavier_board_ask_for_more_current():
    board = SLOW.board
    wheel = dataclasses.replace(board.wheel, wheel_radius_m=0.154, wheel_inertia_kg_m2=0.1089)
    frame = dataclasses.replace(board.frame, frame_mass_kg=board.frame.frame_mass_kg + 8.7)
    other = dataclasses.replace(SLOW, board=dataclasses.replace(board, wheel=wheel, frame=frame))

    by = scaling(SLOW, other)

    riders = np.mean([rider.body.mass_kg for rider in SLOW.riders.values()])
    moved_kg = riders + 7.0 + 9.0 + 0.09 / 0.14**2  # the spinning part is the same
    assert by.radius_ratio == pytest.approx(1.1)
    assert by.mass_ratio == pytest.approx((moved_kg + 8.7) / moved_kg)
    assert by.current_ratio == pytest.approx(1.1 * by.mass_ratio)


def test_caps_stay_inside_the_new_drive():
    drive = dataclasses.replace(SLOW.board.drive, phase_current_limit_a=50.0)
    weak = dataclasses.replace(SLOW.board, drive=drive)

    moved = transferred(ROW, scaling(SLOW, SLOW), weak)

    assert value(moved, "braking_current_cap_a") == 50.0
    assert value(moved, "integral_clamp_a") == value(ROW, "integral_clamp_a")


def test_the_same_board_is_no_transfer():
    np.testing.assert_array_equal(transferred(ROW, scaling(SLOW, SLOW), SLOW.board), ROW)


@pytest.fixture(scope="module")
def boards(tmp_path_factory):
    root = tmp_path_factory.mktemp("boards")
    old = write_small_study(root / "old")
    new = write_small_study(root / "new", ('use = "lender_15"', 'use = "lender_17"'))
    return old, new


def test_a_short_search_from_it_is_at_least_as_good_as_it(boards):
    study = load_study(boards[1])

    found = distance_to_optimum(
        study, transferred(ROW, scaling(load_study(boards[0]), study), study.board),
        n_candidates=24, n_jobs=2, on_generation=lambda _: None,
    )  # fmt: skip

    assert found.n_candidates == 24
    assert found.fails == []
    assert found.best_cost <= found.cost


def test_a_wanted_feel_is_part_of_its_cost(boards):
    study = load_study(boards[1])
    costs = [
        distance_to_optimum(
            dataclasses.replace(study, wanted_feel=wanted, feel_weight=weight),
            profile_to_array(study.baseline), n_candidates=12, n_jobs=2,
            on_generation=lambda _: None,
        )
        for wanted, weight in ((None, 0.0), (1.0, 9.0))
    ]  # fmt: skip
    plain, weighed = costs

    assert (plain.cost, weighed.cost) == (pytest.approx(1.0), pytest.approx(1.0))
    assert weighed.best_cost != pytest.approx(plain.best_cost)


def test_it_is_judged_by_the_limits_themselves(boards, monkeypatch):
    judged = []

    def noted(study, *arguments, **named):
        judged.append(study.on_search_noise)
        return rules_of(study, *arguments, **named)

    monkeypatch.setattr("optimizer.analysis.transfer.rules_of", noted)
    distance_to_optimum(
        load_study(boards[1]), ROW, n_candidates=12, n_jobs=2, on_generation=lambda _: None
    )

    assert judged
    assert not any(judged)


def test_the_command_writes_a_profile_that_can_be_ridden(boards, monkeypatch, capsys):
    old, new = boards
    words = ["levelgain", "transfer", str(old), str(new), "--candidates", "12", "--json"]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as stopped:
        main()
    assert stopped.value.code in (0, None)
    facts = json.loads(capsys.readouterr().out)
    assert facts["current_ratio"] == pytest.approx(17.0 / 15.0, rel=1e-3)

    moved = profile_to_array(load_profile(new / "exports" / "transferred_baseline.toml"))
    assert value(moved, "base_gain_a_per_deg") == pytest.approx(
        5.5 * facts["current_ratio"], rel=5e-3
    )

    with pytest.raises(SystemExit) as again:
        main()
    assert again.value.code == 2
    assert "--force" in capsys.readouterr().err
