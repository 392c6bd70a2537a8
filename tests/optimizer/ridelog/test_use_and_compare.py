import json
import shutil
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest

from optimizer.cli.app import app
from optimizer.ridelog.fits.road import grade_sine
from optimizer.ridelog.replay import compare, speed_lag_s
from optimizer.ridelog.ridden_segment import Segment
from optimizer.ridelog.study_from_log import COURSE
from optimizer.study.load import load_study
from optimizer.study.log_data.resampling import RideLog
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.trace import trace
from tests.reference import example_log
from tests.reference.logged_truth import drawn_truth


@pytest.fixture(scope="module")
def truth():
    return drawn_truth(example_log.SEED)


@pytest.fixture(scope="module")
def ride_csv(fitted_log, tmp_path_factory):
    """Return the packaged log, beside its fit."""
    return shutil.copytree(fitted_log, tmp_path_factory.mktemp("log") / "log") / "ride.csv"


@pytest.fixture(scope="module")
def fitted(ride_csv):
    """Return what the command printed that fitted the log."""
    return json.loads(ride_csv.with_name("printed.json").read_text())


@pytest.fixture(scope="module")
def board(ride_csv, fitted, tmp_path_factory):
    """Return the folder of a study made of the fits."""
    assert fitted
    folder = tmp_path_factory.mktemp("used") / "board"
    app(["log", "use", str(ride_csv), str(folder)], standalone_mode=False)
    return folder


def test_a_fit_is_written_with_intervals_and_figures(levelgain_log, ride_csv, fitted, truth):
    kv = fitted["fits"]["motor"]["estimates"]["kv_rpm_per_v"]
    folder = ride_csv.with_name("ride.fit")

    assert kv["low"] < truth.kv_rpm_per_v < kv["high"]
    assert json.loads((folder / "fit.json").read_text()) == fitted
    assert {"residuals.png", "intervals.svg"} <= {file.name for file in folder.iterdir()}
    code, _, err = levelgain_log("fit", ride_csv)
    assert code == 2
    assert "--force" in err


def test_a_study_of_the_log_loads_rides_and_compares(levelgain_log, ride_csv, truth, board):
    study = load_study(board)

    assert study.board.motor.kv_rpm_per_v == pytest.approx(truth.kv_rpm_per_v, rel=0.01)
    assert study.baseline.stiffness.base_gain_a_per_deg == pytest.approx(
        truth.base_gain_a_per_deg, rel=0.03
    )
    held = {tolerance.name: tolerance for tolerance in study.tolerances}
    assert 0.0 < held["kv_rpm_per_v"].plus_minus < 0.1
    code, out, _ = levelgain_log("compare", ride_csv, board, "--json")
    scores = json.loads(out)["scores"]
    assert code == 0
    assert set(scores) == {"speed_mps", "pitch_deg", "current_a", "bus_v"}
    # The rider of the log leans by another rule; the load and the pack are the road's and board's.
    assert scores["speed_mps"]["correlation"] > 0.9
    assert scores["current_a"]["correlation"] > 0.8
    assert abs(scores["bus_v"]["mean_difference"]) < 0.5
    assert levelgain_log("use", ride_csv, board)[0] == 2
    assert levelgain_log("compare", ride_csv, board)[0] == 2


def test_a_study_takes_the_fit_that_was_made_or_says_why_not(
    levelgain_log, ride_csv, fitted, board, tmp_path
):
    kept = ride_csv.with_name("ride.fit")
    facts = json.loads((kept / "fit.json").read_text())
    facts["made_of"]["mapping"] = "other"
    (tmp_path / "fit.json").write_text(json.dumps(facts))

    code, out, _ = levelgain_log("use", ride_csv, tmp_path / "again")
    foreign = levelgain_log("use", ride_csv, tmp_path / "other", "--fit", tmp_path)

    assert code == 0
    assert f"Taken: the fit in {kept / 'fit.json'}." in out
    assert (tmp_path / "again" / "study.toml").read_bytes() == (board / "study.toml").read_bytes()
    assert foreign[0] == 2
    assert "was made with another mapping" in foreign[2]
    assert not (tmp_path / "other").exists()


def test_a_log_that_the_plant_wrote_agrees_with_the_plant(board):
    study = load_study(board)
    ride = next(ride for ride in study.rides if ride.course.name == COURSE)
    ridden = trace(profile_to_array(study.baseline), ride, every_steps=10)
    assert ridden.outcome is Outcome.RIDDEN
    n_samples = len(ridden.time_s)
    log = RideLog(
        dt_s=0.01,
        time_s=ridden.time_s,
        part=np.zeros(n_samples, dtype=np.int64),
        signals={
            "current_a": ridden.current_a + 3.0,
            "bus_v": ridden.bus_v,
            "speed_mps": ridden.speed_mps,
        },
    )
    segment = Segment(
        samples=np.arange(n_samples),
        speed_points=(),
        distance_m=np.zeros(2),
        height_m=np.zeros(2),
        heights_from="",
    )

    _, current, bus = compare(log, segment, ridden)

    assert speed_lag_s(log, segment, ridden) == 0.0
    assert current.offset == pytest.approx(-3.0)
    assert current.correlation == pytest.approx(1.0)
    assert bus.rms == pytest.approx(0.0, abs=1e-9)
    assert list(bus.misfits()) == []


def test_the_grade_of_a_recorded_track_is_that_of_its_heights():
    # The recorded race track of bokeh-sampledata, ridden at 5 m/s with a receiver's noise.
    source = files("bokeh_sampledata").joinpath("_data/obiszow_mtb_xcm.csv")
    with source.open() as file:
        track = pd.read_csv(file)
    lat, lon = np.radians(track["lat"].to_numpy()), np.radians(track["lon"].to_numpy())
    east, north = np.diff(lon) * np.cos(lat[:-1]), np.diff(lat)
    along = np.concatenate([[0.0], np.cumsum(6.371e6 * np.hypot(east, north))])
    ridden = np.arange(0.0, 8000.0, 0.5)  # m, at 10 Hz
    height = np.interp(ridden, along, track["alt"].to_numpy())
    noise = np.random.default_rng(1).normal(0.0, 1.0, len(ridden))
    log = RideLog(
        dt_s=0.1,
        time_s=np.arange(len(ridden)) * 0.1,
        part=np.zeros(len(ridden), dtype=np.int64),
        signals={"speed_mps": np.full(len(ridden), 5.0), "altitude_m": height + noise},
    )

    sine = grade_sine(log)

    # check the climb between places 500 m apart, against the recorded heights themselves
    climbed = np.cumsum(sine * 0.5)
    places = np.arange(200, len(ridden) - 200, 1000)
    assert np.diff(climbed[places]) == pytest.approx(np.diff(height[places]), abs=2.5)
    assert np.quantile(100.0 * sine, [0.05, 0.95]) == pytest.approx([-7.5, 7.5], abs=3.0)


def test_a_study_without_the_ridden_course_is_refused(levelgain_log, ride_csv, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    text = 'title = "x"\nseed = 1\nboard = "lender_15"\nbaseline = "workshop_15"\n'
    text += '[riders]\nuse = ["baker_80"]\n[courses]\nuse = ["kerb_up"]\n'
    (other / "study.toml").write_text(text)

    code, _, err = levelgain_log("compare", ride_csv, other)

    assert code == 2
    assert "no course 'ridden'" in err


def test_a_log_that_stands_still_is_refused(levelgain_log, ride_csv, tmp_path):
    standing = tmp_path / "ride.csv"
    lines = ride_csv.read_text().splitlines()
    column = lines[0].split(",").index("wheel_rpm")
    rows = [line.split(",") for line in lines[1:3000]]
    for row in rows:
        row[column] = "0.0"
    standing.write_text("\n".join([lines[0], *(",".join(row) for row in rows)]) + "\n")
    mapping = ride_csv.with_name("ride.mapping.toml")

    code, _, err = levelgain_log("use", standing, tmp_path / "b", "--mapping", mapping)

    assert code == 2
    assert "never rolls" in err
