"""The nose-down rate of a profile is said over all riders and for each, with an interval."""

import json
import tomllib

import numpy as np
import pandas as pd
import pytest

import optimizer.interface.levelgain as levelgain_interface
from objectives import OBJECTIVES
from optimizer.analysis.candidate import study_as_scored
from optimizer.analysis.nose_down_rates import ALL_RIDERS, nose_down_rates, objective_in_words
from optimizer.analysis.results import read_results
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study

RATE = OBJECTIVES.index("nose_downs_per_1000_km")
COLUMNS = ["rider", "rate_per_1000_km", "low_per_1000_km", "high_per_1000_km"]


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


def rates_of(results, number):
    """Return the table of a candidate, by the hard rides that its numbers come from."""
    rates = nose_down_rates(study_as_scored(results, number), results.hard[number])
    return pd.DataFrame(rates)


@pytest.fixture(scope="module")
def rates(results):
    assert results.reevaluated[BASELINE]
    return rates_of(results, BASELINE)


def test_there_is_a_row_for_all_riders_and_for_each(results, rates):
    assert list(rates.columns) == COLUMNS
    assert list(rates["rider"]) == [ALL_RIDERS, *results.study.riders]


def test_the_objective_blends_all_riders_with_the_worst(results, rates):
    weight = results.study.settings.worst_rider_weight
    overall, *by_rider = rates["rate_per_1000_km"]

    blended = (1.0 - weight) * overall + weight * max(by_rider)

    assert blended == pytest.approx(results.history.objectives[BASELINE, RATE])
    assert "0.5 of the rate of all riders plus 0.5" in objective_in_words(results.study)


def test_each_rate_lies_in_its_interval(rates):
    assert (rates["low_per_1000_km"] <= rates["rate_per_1000_km"]).all()
    assert (rates["rate_per_1000_km"] < rates["high_per_1000_km"]).all()


def test_a_profile_that_did_not_ride_the_hard_rides_has_no_rate(results):
    table = nose_down_rates(results.study, np.full_like(results.hard[BASELINE], np.nan))

    assert all(np.isnan(table[name]).all() for name in COLUMNS[1:])


def test_a_study_without_its_hard_rides_is_refused(finished, results):
    study = load_study(finished)

    with pytest.raises(ValueError, match="hard rides"):
        nose_down_rates(study, results.hard[BASELINE])


def test_show_prints_the_table_and_how_the_objective_follows_from_it(levelgain, finished, rates):
    code, out, _ = levelgain("show", finished, BASELINE)

    assert code == 0
    lines = [line.split() for line in out.splitlines()]
    assert COLUMNS in lines
    row = rates.iloc[1]
    assert [row["rider"], *(f"{row[name]:.4g}" for name in COLUMNS[1:])] in lines
    assert "of the worst rider's" in out


def test_json_and_export_hold_the_table(levelgain, finished, rates, tmp_path):
    facts = json.loads(levelgain("show", finished, BASELINE, "--json")[1])
    assert levelgain("export", finished, BASELINE, "--to", tmp_path)[0] == 0
    exported = json.loads((tmp_path / "candidate_0.json").read_text())
    in_toml = tomllib.loads((tmp_path / "candidate_0.toml").read_text())

    expected = rates.to_dict(orient="records")
    assert facts["nose_down_rates"] == expected
    assert exported["nose_down_rates"] == expected
    assert in_toml["nose_down_rates"] == expected


def test_the_interface_gives_the_table(results, rates):
    found = levelgain_interface.candidate(results, BASELINE)["nose_down_rates"]

    assert found.equals(rates)


def test_compared_profiles_have_a_row_each(results):
    number = int(np.flatnonzero(results.reevaluated & results.feasible)[0])
    profile = levelgain_interface.profile(results, number)
    rates = rates_of(results, number)
    found = levelgain_interface.compare(results.study, {"one": profile, "same": profile})

    table = found.nose_down_rates.set_index("profile")

    rider = next(iter(results.study.riders))
    assert list(table.index) == ["one", "same"]
    assert table.loc["same", COLUMNS[1]] == pytest.approx(rates[COLUMNS[1]][0])
    assert rates["rider"][1] == rider
    assert table.loc["one", f"{rider}_high_per_1000_km"] == pytest.approx(rates[COLUMNS[3]][1])


def test_compare_prints_rates_by_rider(levelgain, finished, results, tmp_path):
    (tmp_path / "mine.toml").write_text('use = "workshop_17"\n')

    code, out, _ = levelgain("compare", finished, "baseline", tmp_path / "mine.toml", "--to",
                             tmp_path / "drawn")  # fmt: skip

    assert code == 0
    heads = next(line.split() for line in out.splitlines() if "low_per_1000_km" in line)
    riders = [f"{rider}_rate_per_1000_km" for rider in results.study.riders]
    assert heads == ["profile", *COLUMNS[1:], *riders]


def test_ride_prints_the_rates_of_any_profile(levelgain, finished, results):
    number = int(np.flatnonzero(results.reevaluated & results.feasible)[0])
    rates = rates_of(results, number)

    code, out, _ = levelgain("ride", finished, number)

    assert code == 0
    assert [
        ALL_RIDERS.split()[0],
        "riders",
        *(f"{rates[name][0]:.4g}" for name in COLUMNS[1:]),
    ] in [line.split() for line in out.splitlines()]
