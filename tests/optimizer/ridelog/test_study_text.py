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
    table = study_table(FITS, SEGMENT, mapping)
    assert "drive" not in table["board"]
    own = {"use": "lender_15", "drive": {"phase_current_limit_a": 70.0}}
    mapping = dataclasses.replace(mapping, board_written=own)

    path = write_study(tmp_path / "b", FITS, SEGMENT, mapping, log=Path("ride.csv"))

    assert path.read_text().count("phase_current_limit_a") == 1
    assert load_study(tmp_path / "b").board.drive.phase_current_limit_a == 70.0
