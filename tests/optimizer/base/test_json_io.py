"""What `--json` prints is JSON and nothing else, whatever is shown beside it."""

import json
import shutil

import numpy as np
import pytest

from optimizer.base.json_io import json_text
from tests.optimizer.small_study import SHORT_RIDES, write_small_study

slow = pytest.mark.slow
COMMANDS = [
    (("check", "{}"), "expected_s"),
    (("show", "{}", "0"), "objectives"),
    (("explain", "{}", "0"), "sentences"),
    (("compare", "{}", "0", "1"), "against_the_first"),
    (("export", "{}", "0", "--to", "{to}"), "files"),
    (("resume", "{copy}"), "picks"),
    pytest.param(("run", "{fresh}", "--candidates", "12"), "picks", marks=slow),
    pytest.param(("validate", "{short}", "--hours", "0.5"), "verdicts", marks=slow),
    pytest.param(
        ("transfer", "{}", "{fresh}", "0", "--candidates", "12"), "objectives", marks=slow
    ),
]


def pure(text):
    """Return what JSON says; NaN and Infinity are none."""

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.parametrize(("arguments", "key"), COMMANDS, ids=lambda value: value[0])
def test_standard_output_is_json_alone(levelgain, finished, tmp_path, monkeypatch, arguments, key):
    monkeypatch.setenv("FORCE_COLOR", "1")  # which rich takes for a terminal
    copy = shutil.copytree(finished, tmp_path / "copy")
    fresh = write_small_study(tmp_path / "fresh")
    short = write_small_study(tmp_path / "short", SHORT_RIDES)
    folders = {"to": tmp_path, "copy": copy, "fresh": fresh, "short": short}
    filled = [text.format(finished, **folders) for text in arguments]

    code, out, _ = levelgain(*filled, "--json")

    assert code == 0
    assert key in pure(out)


@pytest.mark.parametrize("arguments", [("front", "--all"), ("ride",)], ids=lambda value: value[0])
def test_a_table_is_a_list_of_rows(levelgain, finished, arguments):
    code, out, _ = levelgain(arguments[0], finished, *arguments[1:], "--json")

    assert code == 0
    assert all(isinstance(row, dict) for row in pure(out))


def test_a_finished_search_tells_a_script_its_picks_and_its_files(levelgain, finished, tmp_path):
    copy = shutil.copytree(finished, tmp_path / "copy")

    facts = pure(levelgain("resume", copy, "--json")[1])

    assert facts["folder"] == str(copy)
    assert facts["finished"]
    assert facts["candidates"] == facts["wanted_candidates"] == 36
    assert facts["picks"][0]["pick"] == "baseline"
    assert facts["picks"][0]["weighted_cost_ratio"] == pytest.approx(1.0)
    assert str(copy / "results" / "front.csv") in facts["files"]


def test_numbers_that_json_does_not_have_are_null():
    facts = {"a": float("nan"), "b": np.float32("inf"), "c": (np.int64(3), np.True_, "ß")}

    assert pure(json_text(facts)) == {"a": None, "b": None, "c": [3, True, "ß"]}
