import dataclasses
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from optimizer.ridelog.ridden_segment import Segment
from optimizer.ridelog.study_from_log import COURSE, RIDER, study_table, write_study
from optimizer.study.catalogue import shelves
from optimizer.study.load import load_study
from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.own_board import MODEL_BOARD, OwnBoard
from optimizer.study.templates import write_template
from tests.optimizer.ridelog.test_next_ride import fit_of
from tests.optimizer.study.log_data.written_logs import write_mapping

# An invented ride: 40 s over a hump.
SEGMENT = Segment(
    samples=np.arange(4000),
    speed_points=tuple((float(second), 3.0 + 0.01 * second) for second in range(41)),
    distance_m=np.linspace(0.0, 180.0, 37),
    height_m=2.0 * np.sin(np.linspace(0.0, np.pi, 37)),
    heights_from="nothing",
)
FITS = {"motor": "no motor", "controller": "no controller", "road load": "no road load"}


@pytest.fixture
def mapping(tmp_path):
    return load_mapping(write_mapping(tmp_path / "m.toml"))


def test_a_study_from_a_log_rides_the_catalogue_and_what_was_ridden(mapping, tmp_path):
    path = write_study(tmp_path / "b", FITS, SEGMENT, mapping, log=Path("ride.csv"))

    study = load_study(tmp_path / "b")

    assert set(study.courses) == {*shelves()["courses"], COURSE}
    assert {ride.rider_name for ride in study.rides if ride.course.name == COURSE} == {RIDER}
    assert max(map(len, path.read_text().splitlines())) <= 100
    # A pair of numbers is on one line, so the ridden speeds take few.
    assert re.search(r"^    \[0\.0, 3\.0\], \[1\.0, 3\.01\],", path.read_text(), re.MULTILINE)
    speeds = tomllib.loads(path.read_text())["courses"][COURSE]["manoeuvre"]["speed_mps"]
    assert speeds == [list(point) for point in SEGMENT.speed_points]


@pytest.mark.parametrize("board", ["lender_15", "{ use = 'lender_15', drive = 'inverter_110' }"])
def test_limits_in_comments_change_nothing_until_they_are_entered(tmp_path, board):
    path = write_mapping(tmp_path / "m.toml")
    written = f'"{board}"' if board == "lender_15" else board
    path.write_text(path.read_text().replace('"lender_15"', written))
    mapping = load_mapping(path)
    study = write_study(tmp_path / "b", FITS, SEGMENT, mapping, log=Path("ride.csv"))
    text = study.read_text()
    before = load_study(tmp_path / "b")
    # Take the # of every key and table away, as a user would.
    entered = re.sub(r"^# (?=\w+ = |\[)", "", text, flags=re.MULTILINE)

    study.write_text(entered)
    same = load_study(tmp_path / "b")
    study.write_text(re.sub(r"(phase_current_limit_a) = .*", r"\1 = 66.0", entered))
    limited = load_study(tmp_path / "b")

    assert entered != text
    assert (same.board, same.baseline) == (before.board, before.baseline)
    drive = dataclasses.replace(before.board.drive, phase_current_limit_a=66.0)
    assert limited.board == dataclasses.replace(before.board, drive=drive)


def test_a_limit_that_the_mapping_gives_is_not_asked_for(mapping, tmp_path):
    table, _ = study_table(FITS, SEGMENT, mapping)
    assert "drive" not in table["board"]
    own = {"use": "lender_15", "drive": {"phase_current_limit_a": 70.0}}
    mapping = dataclasses.replace(mapping, board_written=own)

    path = write_study(tmp_path / "b", FITS, SEGMENT, mapping, log=Path("ride.csv"))

    assert path.read_text().count("phase_current_limit_a") == 1
    assert load_study(tmp_path / "b").board.drive.phase_current_limit_a == 70.0


def of_fast_motor(tmp_path, board='"lender_15"'):
    """Return the study, its text and that of `new`, of a motor of 24 rpm/V that a log shows."""
    path = write_mapping(tmp_path / "m.toml")
    path.write_text(path.read_text().replace('"lender_15"', board))
    fits = FITS | {
        "motor": fit_of(kv_rpm_per_v=(23.9, 24.1)),
        "controller": fit_of(
            inner_gain_a_per_deg=(11.9, 12.1), uphill_gain_deg_per_mps2=(4.4, 4.6)
        ),
    }
    study = write_study(tmp_path / "b", fits, SEGMENT, load_mapping(path), log=Path("ride.csv"))
    write_template(tmp_path / "new", OwnBoard(kv_rpm_per_v=24.0))
    return load_study(tmp_path / "b"), study.read_text(), load_study(tmp_path / "new")


def test_baseline_bounds_and_limit_follow_the_motor_of_a_log_as_of_a_new_study(tmp_path):
    study, text, new = of_fast_motor(tmp_path)

    assert study.scaled_from == MODEL_BOARD
    assert study.scaling == new.scaling
    assert study.board.drive.phase_current_limit_a == new.board.drive.phase_current_limit_a
    # What the log determines stays; what it does not is scaled, as in a new study.
    assert study.baseline.stiffness.inner_gain_a_per_deg == 12.0
    assert (
        study.baseline.stiffness.base_gain_a_per_deg == new.baseline.stiffness.base_gain_a_per_deg
    )
    ends = dict(
        zip(study.space.names, zip(study.space.low, study.space.high, strict=True), strict=True)
    )
    scaled = dict(
        zip(new.space.names, zip(new.space.low, new.space.high, strict=True), strict=True)
    )
    assert ends.pop("uphill_gain_deg_per_mps2") == (0.0, 4.5)  # ridden beyond the catalogue's end
    assert ends == {name: scaled[name] for name in ends}
    # The file says so.
    assert "currents go with this board's torque per amp" in re.sub(r"\n# ", " ", text)
    assert re.search(
        r"^phase_current_limit_a = 176\.0 +# assumed: the tractive force of lender_15's", text, re.M
    )


def test_a_drive_that_the_mapping_names_keeps_its_limit(tmp_path):
    board = "{ use = 'lender_15', drive = 'inverter_110' }"

    study, _, _ = of_fast_motor(tmp_path, board)

    assert study.board.drive.phase_current_limit_a == 110.0


def test_what_is_in_use_is_the_scaled_number(tmp_path):
    board = "{ use = 'lender_15', battery.cells_in_series = 20 }"

    study, text, _ = of_fast_motor(tmp_path, board)

    margin = study.baseline.protection.bus_warning_margin_v
    assert margin == pytest.approx(20.0 / 15.0, rel=1e-2)
    assert f"# bus_warning_margin_v = {margin!r}\n" in text
    assert study.board.battery.bus_high_v == pytest.approx(68.0 * 20.0 / 15.0, rel=1e-2)
