"""A ride log from Python: read, fitted, and made a study of."""

import json

import numpy as np
import pandas as pd
import pytest

from optimizer.interface import levelgain
from optimizer.study.catalogue import STUDIES_FOLDER
from tests.reference import example_log
from tests.reference.logged_truth import drawn_truth


@pytest.fixture(scope="module")
def logged():
    return levelgain.read_log(STUDIES_FOLDER / "ridden/ride.csv")


@pytest.fixture(scope="module")
def heard():
    return []


@pytest.fixture(scope="module")
def fits(logged, heard):
    return levelgain.fit_log(logged, on_progress=heard.append)


def test_a_log_is_a_table_in_si_on_an_even_grid(logged):
    written = pd.read_csv(STUDIES_FOLDER / "ridden/ride.csv")
    column = logged.mapping.columns["pitch_rad"]

    table = logged.table

    assert list(table)[:2] == ["time_s", "part"]
    steps = np.diff(table["time_s"])[np.diff(table["part"]) == 0]
    assert np.allclose(steps, logged.log.dt_s)
    in_file = column.factor * written[column.name].mean() + column.offset
    assert table["pitch_rad"].mean() == pytest.approx(in_file, abs=np.radians(0.1))
    assert repr(logged).endswith("finding(s)>")


@pytest.mark.slow
def test_the_intervals_hold_the_truth_behind_the_log(fits, heard):
    truth = drawn_truth(example_log.SEED)

    table = levelgain.fits_table(fits).set_index(["subject", "name"])

    kv = table.loc[("motor", "kv_rpm_per_v")]
    assert kv["low"] < truth.kv_rpm_per_v < kv["high"]
    assert kv["value"] == pytest.approx(truth.kv_rpm_per_v, rel=0.01)
    assert (table["low"] <= table["value"]).all()
    assert (table["value"] <= table["high"]).all()
    assert [now.stage for now in heard] == [f"fitting: {subject}" for subject in fits]


@pytest.mark.slow
def test_a_fit_and_a_study_are_those_of_the_commands(request, logged, fits, fitted_log, tmp_path):
    command = request.getfixturevalue("levelgain")
    log, fit = fitted_log / "ride.csv", fitted_log / "ride.fit"
    assert command("log", "use", log, tmp_path / "theirs", "--fit", fit)[0] == 0

    study = levelgain.study_from_log(logged, fits, tmp_path / "ours")

    told = json.loads((fitted_log / "printed.json").read_text())["fits"]
    for row in levelgain.fits_table(fits).itertuples():
        assert told[row.subject]["estimates"][row.name]["value"] == pytest.approx(row.value)
    for name in ("study.toml", "ridden_route.csv"):
        ours, theirs = (tmp_path / where / name for where in ("ours", "theirs"))
        assert ours.read_bytes() == theirs.read_bytes()
    assert study.folder == tmp_path / "ours"
    with pytest.raises(levelgain.FileError, match="is there already"):
        levelgain.study_from_log(logged, fits, tmp_path / "ours")


def test_a_log_without_a_mapping_is_refused(tmp_path):
    (tmp_path / "ride.csv").write_text("t,i\n0,1\n")

    with pytest.raises(levelgain.LogError, match=r"ride\.mapping\.toml"):
        levelgain.read_log(tmp_path / "ride.csv")
