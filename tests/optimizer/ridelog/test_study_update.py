"""What a log says is put into a study that is there, and nothing is lost of it."""

import dataclasses
import json
import sqlite3

import pytest

from optimizer.base.errors import StudyFileError, UserInputError
from optimizer.cli.app import app
from optimizer.execution.store import Store
from optimizer.execution.study_changes import changed_values
from optimizer.interface import levelgain
from optimizer.interface.logs import kept_or_new_fits, log_into_study
from optimizer.ridelog import fit_file
from optimizer.ridelog.study_update import updated_text
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.ridelog.test_next_ride import fit_of
from tests.optimizer.small_study import write_small_study

ROAD = {"rolling_ratio": (0.02, 0.024), "drag_area_m2": (0.5, 0.6)}
MOTOR = {"kv_rpm_per_v": (15.0, 15.4), "phase_resistance_ohm": (-0.2, 0.3)}
CONTROLLER = {"base_gain_a_per_deg": (3.9, 4.1)}


@pytest.fixture
def fits():
    """Return fits of which only Kv and one gain are known well enough for a study."""
    return {
        "road load": fit_of(**ROAD),
        "motor": fit_of(**MOTOR),
        "controller": fit_of(**CONTROLLER),
    }


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    """Return the packaged log."""
    folder = tmp_path_factory.mktemp("log") / "tried"
    app(["log", "example", str(folder)], standalone_mode=False)
    return levelgain.read_log(folder / "ride.csv")


@pytest.fixture
def study(tmp_path):
    """Return the folder of a study that was not searched, with a comment in its file."""
    return write_small_study(
        tmp_path / "mine",
        ("\ntitle", "# My own board.\ntitle"),
        ('use = "lender_15"\n', 'use = "lender_15"\nmotor.kv_rpm_per_v = 17.0\n'),
        ("\n[riders]", "\n[tolerances.winding_resistance_k_per_w]\npercent = 20.0\n\n[riders]"),
    )


@pytest.fixture
def logged(example, study):
    """Return the packaged log as one of a ride on the study's board."""
    mapping = dataclasses.replace(example.mapping, board=load_study(study).board)
    return dataclasses.replace(example, mapping=mapping)


def test_board_tolerance_and_baseline_move_and_the_rest_stays(logged, fits, study):
    written = (study / "study.toml").read_text()

    before, after = log_into_study(logged, fits, study)

    moved = {key: (was, now) for key, was, now in changed_values(before, after)}
    assert moved["board.motor.kv_rpm_per_v"] == ("17", "15.2")
    assert moved["baseline.stiffness.base_gain_a_per_deg"][1] == "4"
    # Not known well enough to be taken, the resistance follows from the new Kv.
    assert "phase_resistance_ohm" not in after.text
    [kv] = [each for each in after.tolerances if each.name == "kv_rpm_per_v"]
    assert kv.plus_minus == pytest.approx(0.2)
    assert not [each for each in after.tolerances if each.name == "drag_area_m2"]
    assert [each.percent for each in after.tolerances if each.name.startswith("winding_res")]
    assert after.digest == load_study(study).digest
    assert (study / "study_before.toml").read_text() == written
    there = {path.name: path.read_bytes() for path in study.iterdir()}
    now, same = log_into_study(logged, fits, study)
    assert now is same
    assert {path.name: path.read_bytes() for path in study.iterdir()} == there
    other = {**fits, "controller": fit_of(base_gain_a_per_deg=(4.4, 4.6))}
    with pytest.raises(UserInputError, match="is there already"):
        log_into_study(logged, other, study)


def test_bounds_that_do_not_hold_what_was_ridden_are_widened_to_it(logged, fits, study):
    path = study / "study.toml"
    text = path.read_text().replace(
        'use = "workshop_15"\n', 'use = "workshop_15"\nstiffness = { base_gain_a_per_deg = 6.0 }\n'
    )
    bounds = "base_gain_a_per_deg = [5.0, 9.0]\nrate_filter_hz = [20.000049, 90.0]\n"
    path.write_text(f"{text}[search.bounds]\n{bounds}")

    _, after = log_into_study(logged, fits, study)

    place = after.space.names.index("base_gain_a_per_deg")
    assert (after.space.low[place], after.space.high[place]) == (4.0, 9.0)
    # What was not ridden keeps its bounds to the last digit.
    assert after.space.low[after.space.names.index("rate_filter_hz")] == 20.000049


def test_another_wheel_than_the_mappings_is_refused(example, fits, study):
    with pytest.raises(
        UserInputError, match=r"board\.wheel\.wheel_radius_m: must be the mapping's"
    ):
        log_into_study(example, fits, study)


def test_a_log_that_determines_nothing_changes_nothing(logged, study):
    nothing = {
        "road load": "needs current",
        "motor": fit_of(phase_resistance_ohm=(-0.2, 0.3)),
        "controller": "needs pitch",
    }
    before = (study / "study.toml").read_text()

    with pytest.raises(UserInputError, match="determines no number"):
        log_into_study(logged, nothing, study)

    assert (study / "study.toml").read_text() == before


def test_a_new_folder_is_for_a_searched_study_alone(logged, fits, study, tmp_path):
    with pytest.raises(StudyFileError, match="was not searched yet"):
        log_into_study(logged, fits, study, tmp_path / "new")


def test_a_study_that_a_run_has_stays_and_one_that_a_killed_run_left_changes(logged, fits, study):
    written = (study / "study.toml").read_bytes()
    killed = sqlite3.connect(store_path(study))
    with Store(store_path(study)):
        with pytest.raises(StudyFileError, match=r"another run is using this study; .* fork it"):
            log_into_study(logged, fits, study)
        assert (study / "study.toml").read_bytes() == written
        assert not (study / "study_before.toml").exists()
    with killed:
        killed.execute("INSERT INTO running VALUES (datetime('now'))")
    killed.close()

    _, after = log_into_study(logged, fits, study)

    assert after.board.motor.kv_rpm_per_v == pytest.approx(15.2)


def test_a_searched_study_stays_and_its_best_go_along(logged, fits, finished, tmp_path):
    before = (finished / "study.toml").read_bytes()
    with pytest.raises(StudyFileError, match=rf"fork it .* NEW --into {finished}$"):
        log_into_study(logged, fits, finished)

    old, new = log_into_study(logged, fits, finished, tmp_path / "new")

    assert (finished / "study.toml").read_bytes() == before
    assert len(new.start)
    assert new.board.motor.kv_rpm_per_v == pytest.approx(15.2)
    assert old.board.motor.kv_rpm_per_v != pytest.approx(15.2)


def test_a_fit_of_another_log_is_told_and_the_log_is_fitted_anew(logged, fits, monkeypatch):
    made = fit_file.made_of(logged.path, logged.mapping) | {"log": "another"}
    path = logged.path.with_name("ride.fit") / "fit.json"
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(fit_file.fit_facts(fits, made, log={})))
    monkeypatch.setattr("optimizer.interface.logs.fit_log", lambda *_, **__: "anew")
    said = []

    found = kept_or_new_fits(logged, notice=said.append)

    assert found == "anew"
    [line] = said
    assert "was made with another log; the log is fitted anew" in line


def test_the_text_names_the_log(logged, fits, study):
    text = updated_text(
        load_study(study), fits, logged.mapping, path=study / "study.toml", log=logged.path
    )

    assert text.startswith("# Board, tolerances and baseline are those of the ride log ride.csv;")
