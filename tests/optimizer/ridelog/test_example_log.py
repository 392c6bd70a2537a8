import pytest

from optimizer.ridelog.data.checks import check_log
from optimizer.ridelog.data.mapping import load_mapping
from optimizer.ridelog.data.resampling import load_log
from optimizer.ridelog.fits.motor import fit_motor
from optimizer.ridelog.fits.road import fit_road
from optimizer.study.catalogue import STUDIES_FOLDER
from tests.reference.example_log import SEED
from tests.reference.logged_truth import drawn_truth

RIDE = STUDIES_FOLDER / "ridden" / "ride.csv"


@pytest.fixture(scope="module")
def mapping():
    return load_mapping(RIDE.with_name("ride.mapping.toml"))


def test_the_packaged_log_is_small_and_has_one_gap(mapping):
    (finding,) = check_log(RIDE, mapping).findings

    assert "gap" in finding.text
    assert RIDE.stat().st_size < 700_000


def test_the_packaged_log_tells_what_it_was_made_with(mapping):
    truth = drawn_truth(SEED)
    log, _ = load_log(RIDE, mapping)

    for fit in (fit_motor(log, mapping.board), fit_road(log, mapping.board, truth.rider_kg)):
        for name in fit.names:
            value, low, high = fit.estimate(name)
            # One of twenty intervals misses the truth, and here the drag area's does.
            miss = 1.5 if name == "drag_area_m2" else 1.0
            assert abs(value - getattr(truth, name)) <= miss * (high - low) / 2.0, name


def test_the_command_writes_it_and_replaces_nothing(levelgain_log, tmp_path):
    assert levelgain_log("example", tmp_path / "tried")[0] == 0
    written = tmp_path / "tried" / "ride.csv"

    assert written.read_bytes() == RIDE.read_bytes()
    assert levelgain_log("example", tmp_path / "tried")[0] == 2
