"""The fits of a log in a file: read back as they were written, and refused for anything else."""

import json
import math

import numpy as np
import pytest

from optimizer.base.errors import LogError
from optimizer.ridelog.fit_file import fit_facts, made_of, read_fits
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.study.log_data.mapping import load_mapping

MAPPING = """\
confirmed = true
[columns]
time_s = { column = "t", unit = "s" }
current_a = { column = "i", unit = "A" }
"""
MADE = {"log": "a", "mapping": "b", "board": "c", "program": "d"}


@pytest.fixture
def fits():
    """Return one fit whose interval has no upper end, and the reason why there is no other."""
    random = np.random.default_rng(1)
    return {
        "road load": Fit(
            title="Road load",
            names=("rolling_ratio", "drag_area_m2"),
            value=np.array([0.1 + 0.2, 1.0 / 3.0]),
            low=np.array([0.2, -1.0]),
            high=np.array([0.4, math.inf]),
            profiled=np.array([False, True]),
            at_bound=np.array([False, True]),
            correlation=np.array([[1.0, -0.912], [-0.912, 1.0]]),
            time_s=np.arange(5) * 0.1,
            residual=random.normal(size=5),
            residual_unit="m/s2",
            undetermined=("the wind",),
        ),
        "pack": "needs pack voltage",
    }


@pytest.fixture
def path(fits, tmp_path):
    """Return the file of the fits."""
    path = tmp_path / "fit.json"
    path.write_text(json.dumps(fit_facts(fits, MADE, log={"rows": 5})))
    return path


def test_fits_are_read_back_to_the_last_bit(path, fits):
    found = read_fits(path, MADE)

    assert found["pack"] == fits["pack"]
    own, read = fits["road load"], found["road load"]
    assert (read.title, read.names, read.residual_unit) == (own.title, own.names, own.residual_unit)
    assert read.undetermined == own.undetermined
    for name in ("value", "low", "high", "profiled", "at_bound", "correlation", "time_s",
                 "residual"):  # fmt: skip
        np.testing.assert_array_equal(getattr(read, name), getattr(own, name))


@pytest.mark.parametrize(
    ("key", "what"),
    [
        ("log", "another log"),
        ("mapping", "another mapping"),
        ("board", "another board"),
        ("program", "another version"),
    ],
)
def test_fits_of_something_else_are_refused_by_what_it_is(path, key, what):
    with pytest.raises(LogError, match=f"fit.json: was made with {what}"):
        read_fits(path, MADE | {key: "other"})


def changed(facts):
    facts["fits"]["road load"]["estimates"]["rolling_ratio"]["value"] = 0.01


def of_another_format(facts):
    facts["version"] += 1


def without_content(facts):
    del facts["content"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (changed, "changed after it was written, or is damaged"),
        (of_another_format, "written by another version"),
        (without_content, "holds no whole fit"),
    ],
)
def test_fits_that_are_not_as_they_were_written_are_refused(path, change, said):
    facts = json.loads(path.read_text())
    change(facts)
    path.write_text(json.dumps(facts))

    with pytest.raises(LogError, match=said):
        read_fits(path, MADE)


@pytest.mark.parametrize("text", ["", "[]", "null", '{"version": 1}', "{", "[" * 100_000])
def test_a_file_that_is_no_fit_is_refused(path, text):
    path.write_text(text)

    with pytest.raises(LogError, match="holds no whole fit"):
        read_fits(path, MADE)


def test_log_mapping_and_board_decide_what_fits_were_made_of(tmp_path):
    log, mapping = tmp_path / "ride.csv", tmp_path / "ride.mapping.toml"
    log.write_text("t,i\n0,1\n")
    mapping.write_text(MAPPING)
    before = made_of(log, load_mapping(mapping))

    log.write_text("t,i\n0,2\n")
    mapping.write_text(MAPPING + "# checked again\n")
    after = made_of(log, load_mapping(mapping))

    assert {key for key in before if before[key] != after[key]} == {"log", "mapping"}
