"""Limits, baseline and bounds follow the motor, and every number that is assumed says so."""

import re

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.study.derived import derived_lines
from optimizer.study.load import load_study
from optimizer.study.own_board import OwnBoard
from optimizer.study.templates import write_template
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from tests.optimizer.study.test_load import BASE, written

OWN = OwnBoard(
    kv_rpm_per_v=24.0,
    cells_in_series=16,
    wheel_diameter_m=0.29,
    rider_masses_kg=(35.0, 70.0, 110.0),
)


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    return load_study(write_template(tmp_path_factory.mktemp("own") / "new", OWN).parent)


@pytest.fixture(scope="module")
def usual(tmp_path_factory):
    return load_study(write_template(tmp_path_factory.mktemp("usual") / "new").parent)


def scaled(lines):
    """Return a study file that is scaled from the catalogue's board, with lines for its board."""
    board = f'scaled_from = "lender_15"\n[board]\nuse = "lender_15"\n{lines}\n'
    return BASE.replace('board = "lender_15"\n', board)


def number(study, name):
    return profile_to_array(study.baseline)[PROFILE_NAMES.index(name)]


def test_a_rewound_motor_keeps_its_copper_and_its_ampere_turns(own, usual):
    # Turns go with 1 / Kv; resistance and inductance with turns squared at equal copper; the iron
    # saturates at the same ampere-turns (any machines textbook).
    turns = 15.0 / 24.0
    for name, power in (
        ("phase_resistance_ohm", 2),
        ("phase_inductance_h", 2),
        ("saturation_current_a", -1),
    ):
        expected = getattr(usual.board.motor, name) * turns**power
        assert getattr(own.board.motor, name) == pytest.approx(expected, rel=1e-3), name
    assert own.board.motor.saturation_ratio == usual.board.motor.saturation_ratio


def test_the_drive_pushes_as_hard_as_the_catalogues(own, usual):
    # Force at the ground: 8.27 / Kv N m for each ampere, over the radius.
    def push_n(board):
        torque = 8.27 / board.motor.kv_rpm_per_v * board.drive.phase_current_limit_a
        return torque / board.wheel.wheel_radius_m

    def heat_w(board):
        return board.drive.mosfet_resistance_ohm * board.drive.phase_current_limit_a**2

    assert push_n(own.board) == pytest.approx(push_n(usual.board), rel=5e-3)
    assert heat_w(own.board) == pytest.approx(heat_w(usual.board), rel=0.01)


def test_a_pack_has_the_same_cells(own, usual):
    for part, name in (
        ("battery", "series_resistance_ohm"),
        ("battery", "bus_low_v"),
        ("battery", "bus_high_v"),
        ("drive", "regen_taper_v"),
    ):
        ratio = getattr(getattr(own.board, part), name) / getattr(getattr(usual.board, part), name)
        assert ratio == pytest.approx(16.0 / 15.0, rel=5e-3), name


def test_baseline_and_bounds_follow_the_board(own, usual):
    ratio = 24.0 / 15.0 * 0.29 / 0.28

    for name in ("base_gain_a_per_deg", "braking_current_cap_a", "expected_current_a_per_mps2"):
        assert number(own, name) == pytest.approx(number(usual, name) * ratio, rel=5e-3)
        place = own.space.names.index(name)
        assert own.space.low[place] == pytest.approx(usual.space.low[place] * ratio, rel=5e-3)
        assert own.space.high[place] == pytest.approx(usual.space.high[place] * ratio, rel=5e-3)
    for name in ("inner_band_deg", "mid_gain_ratio", "warning_lift_deg"):
        assert number(own, name) == number(usual, name)


def test_the_catalogues_own_board_is_not_scaled(usual):
    assert usual.scaling.current_ratio == 1.0
    assert derived_lines(usual) == []


def test_what_the_file_gives_itself_is_not_scaled(tmp_path):
    text = scaled("motor.kv_rpm_per_v = 24.0")
    text = text.replace("[baseline]", "[baseline]\nstiffness.base_gain_a_per_deg = 4.0")
    text += "[search.bounds]\nbase_gain_a_per_deg = [3.0, 9.0]\n"

    found = load_study(written(tmp_path, text))

    place = found.space.names.index("base_gain_a_per_deg")
    assert number(found, "base_gain_a_per_deg") == 4.0
    assert (found.space.low[place], found.space.high[place]) == (3.0, 9.0)
    assert number(found, "inner_gain_a_per_deg") == pytest.approx(8.0 * 24.0 / 15.0)


def test_a_weak_drive_caps_the_baseline_and_the_bounds_hold_it(tmp_path):
    text = scaled("motor.kv_rpm_per_v = 20.0\ndrive.phase_current_limit_a = 45.0")

    found = load_study(written(tmp_path, text))

    values = np.array([number(found, name) for name in found.space.names])
    assert number(found, "braking_current_cap_a") == 45.0
    assert np.all((found.space.low <= values) & (values <= found.space.high))


def test_a_drive_that_did_not_follow_its_motor_is_told(tmp_path):
    found = load_study(written(tmp_path, scaled("motor.kv_rpm_per_v = 24.0")))

    line = derived_lines(found)[-1]
    assert "110 A gives 62 % of the tractive force of lender_15" in line  # 15 / 24
    assert "176 A" in line


def test_a_number_of_the_motor_that_is_given_stays(tmp_path):
    motor = "motor = { use = 'hub_15', kv_rpm_per_v = 24.0, phase_inductance_h = 9e-5 }"
    text = scaled(motor).replace('scaled_from = "lender_15"\n', "")

    found = load_study(written(tmp_path, text))

    assert found.board.motor.phase_inductance_h == 9e-5
    assert set(found.rewound) == {"phase_resistance_ohm", "saturation_current_a"}
    (rewound, unscaled) = derived_lines(found)
    assert "24 rpm/V" in rewound
    assert 'scaled_from = "lender_15"' in unscaled


def test_each_line_that_is_not_known_says_that_it_is_assumed(tmp_path):
    text = write_template(tmp_path / "new", OWN).read_text(encoding="utf-8")
    board = text.partition("[board]")[2].partition("[riders]")[0]

    told = [line for line in board.splitlines() if re.match(r"[a-z]+\.", line)]
    known = {"motor.kv_rpm_per_v", "wheel.wheel_radius_m", "battery.cells_in_series"}
    assert {line.split()[0] for line in told if "assumed" not in line} == known
    assert "# motor = " not in text  # a second motor would be refused
    assert "baker_80" not in text  # an example of a rider who is not there would be refused


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"kv_rpm_per_v": 100.0}, "phase_current_limit_a must be from 5 to 600, and would be 733"),
        ({"wheel_diameter_m": 28.0}, r"wheel: must be a diameter from 0\.1 to 0\.8 m, got 28"),
        ({"rider_masses_kg": (5.0,)}, "riders: must be masses from 20 to 160 kg, got 5"),
        ({"rider_masses_kg": (70.0, 70.0)}, "give each mass once"),
    ],
)
def test_a_board_that_can_not_be_is_refused_and_nothing_written(tmp_path, said, message):
    with pytest.raises(UserInputError, match=message):
        write_template(tmp_path / "new", OwnBoard(**said))

    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("value", "message"),
    [("lender_51", "scaled_from.use: the catalogue has no 'lender_51'"), ("", "has no ''")],
)
def test_an_unknown_board_to_scale_from_is_refused(tmp_path, value, message):
    text = scaled("").replace('scaled_from = "lender_15"', f'scaled_from = "{value}"')

    with pytest.raises(UserInputError, match=message):
        load_study(written(tmp_path, text))
