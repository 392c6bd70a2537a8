"""What a user reads about candidates that were rejected early."""

import json
import shutil
import tomllib

import numpy as np
import pandas as pd
import pytest

from objectives import OBJECTIVES, RIDE_COLUMNS
from optimizer.analysis.results import least_violating, read_results
from optimizer.cli import app as cli
from optimizer.reports.page import page_data
from optimizer.reports.page.live import LiveStudy
from optimizer.study.load import load_study
from tests.optimizer.small_study import STEEP, write_small_study

N_RIDES = 8


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = write_small_study(tmp_path_factory.mktemp("rejected") / "study", *STEEP)
    cli.app(["run", str(folder)], standalone_mode=False)
    return folder


@pytest.fixture(scope="module")
def results(folder):
    return read_results(load_study(folder))


@pytest.fixture(scope="module")
def number(results):
    """Return a candidate that was rejected early."""
    return int(np.flatnonzero(results.rejected_early)[0])


@pytest.fixture(scope="module")
def rateless(results):
    """Return a candidate that rode all but the hard rides."""
    return int(np.flatnonzero(results.without_rate)[0])


def test_the_tables_say_how_many_rides_were_ridden_and_leave_unknown_objectives_empty(
    folder, results
):
    table = pd.read_csv(folder / "results" / "candidates.csv")
    parquet = pd.read_parquet(folder / "results" / "candidates.parquet")

    rejected_early = table["rides_ridden"] < N_RIDES
    assert rejected_early.any()
    assert set(table["rides_ridden"][~rejected_early]) == {N_RIDES}
    np.testing.assert_array_equal(rejected_early, results.rejected_early)
    # Hard rides are for candidates that meet the constraints, once the first generation has ridden.
    later = np.arange(len(table)) >= results.study.population
    no_rate = later & ~(table["feasible"].to_numpy() | results.reevaluated)
    level, current, rate = OBJECTIVES
    for name in (level, current, "energy_wh"):
        np.testing.assert_array_equal(table[name].isna(), rejected_early)
        np.testing.assert_array_equal(parquet[name].isna(), rejected_early)
    for name in (rate, "weighted_cost_ratio"):
        np.testing.assert_array_equal(table[name].isna(), no_rate)
        np.testing.assert_array_equal(parquet[name].isna(), no_rate)
    assert not table.loc[rejected_early, ["feasible", "on_front"]].any().any()
    assert (table.loc[rejected_early, "violation_ratio"] > 0.0).all()
    assert (
        table.loc[rejected_early, "rides_ended"] <= table.loc[rejected_early, "rides_ridden"]
    ).all()


def test_show_says_in_one_line_that_a_candidate_was_rejected_early(
    levelgain, folder, number, results
):
    n_ridden = int(results.rides_ridden[number])

    code, out, err = levelgain("show", folder, number)
    observed = json.loads(levelgain("show", folder, number, "--json")[1])

    assert (code, err) == (0, "")
    first = out.splitlines()[0]
    assert (
        f"Candidate {number} (no pick), rejected early after {n_ridden} of {N_RIDES} rides" in first
    )
    assert "nan" not in out
    assert "FAILS" in out
    assert observed["rides_ridden"] == n_ridden
    assert {row["value"] for row in observed["objectives"]} == {None}
    assert len(observed["worst_rides"]) == min(n_ridden, 5)


def test_a_candidate_without_a_rate_is_one_that_breaks_a_constraint_on_its_own_rides(results):
    rate = OBJECTIVES.index("nose_downs_per_1000_km")
    unknown = np.isnan(results.history.objectives)

    assert results.without_rate.any()
    assert not results.without_rate[: results.study.population].any()
    assert not results.feasible[results.without_rate].any()
    assert not (results.without_rate & results.rejected_early).any()
    np.testing.assert_array_equal(unknown[:, rate], results.without_rate | results.rejected_early)
    np.testing.assert_array_equal(
        np.delete(unknown, rate, axis=1).any(axis=1), results.rejected_early
    )


def test_show_and_export_say_why_a_rate_is_not_estimated(
    levelgain, folder, rateless, results, tmp_path
):
    code, out, err = levelgain("show", folder, rateless)
    observed = json.loads(levelgain("show", folder, rateless, "--json")[1])
    levelgain("export", folder, rateless, "--format", "json", "--to", tmp_path)
    exported = json.loads((tmp_path / f"candidate_{rateless}.json").read_text())

    assert (code, err) == (0, "")
    why = "nose-down rate not estimated: it breaks a constraint that needs no hard ride"
    assert f"Candidate {rateless} (no pick), {why}" in out.splitlines()[0]
    assert "rejected early" not in out
    assert "nan" not in out
    assert "FAILS" in out
    assert observed["rides_ridden"] == N_RIDES
    values = {row["objective"]: row["value"] for row in observed["objectives"]}
    assert [name for name, value in values.items() if value is None] == ["nose_downs_per_1000_km"]
    *failed, last = exported["candidate"]["failed_constraints"]
    assert failed
    assert why in last
    assert not any("rejected early" in line for line in failed)


def test_the_end_of_a_run_says_how_much_riding_that_saved(levelgain, folder, results, tmp_path):
    again = tmp_path / "again"
    shutil.copytree(folder, again)

    out = levelgain("resume", again)[1]
    observed = json.loads(levelgain("resume", again, "--json")[1])

    n_rejected = int(results.rejected_early.sum())
    assert f"{n_rejected} of 36 candidates failed on the screening rides" in out
    n_without = int(results.without_rate.sum())
    assert f"{n_without} of 36 candidates broke a constraint that needs no hard ride" in out
    assert "of all riding" in out
    assert observed["rejected_early_candidates"] == n_rejected
    duration_s = np.array([ride.course.duration_s for ride in results.study.all_rides])
    whole = np.hstack([results.rides, results.handling, results.hard])
    outcome = whole[:, :, RIDE_COLUMNS.index("outcome")]
    left_out_s = (np.isnan(outcome) * duration_s).sum()
    assert observed["saved_ride_time_ratio"] == pytest.approx(
        left_out_s / (duration_s.sum() * len(results))
    )


def test_an_export_of_a_rejected_candidate_says_that_it_is_not_scored(
    levelgain, folder, number, tmp_path
):
    code, out, _ = levelgain("export", folder, number, "--format", "all", "--to", tmp_path)

    assert code == 0
    assert f"of {N_RIDES} rides" in out
    observed = json.loads((tmp_path / f"candidate_{number}.json").read_text())
    assert set(observed["objectives"].values()) == {None}
    assert "rejected early after" in observed["candidate"]["failed_constraints"][-1]
    toml = tomllib.loads((tmp_path / f"candidate_{number}.toml").read_text())
    assert toml["candidate"]["failed_constraints"] == observed["candidate"]["failed_constraints"]
    assert "rejected early after" in (tmp_path / f"candidate_{number}.h").read_text()
    assert "rejected early after" in (tmp_path / f"candidate_{number}_first_rides.md").read_text()


def test_front_lists_and_sorts_them_last(levelgain, folder, results):
    rows = json.loads(
        levelgain("front", folder, "--all", "--sort", "level_error_deg", "--limit", 99, "--json")[1]
    )
    few = json.loads(levelgain("front", folder, "--all", "--where", "rides_ridden<8", "--json")[1])

    n_rejected = int(results.rejected_early.sum())
    assert [row["level_error_deg"] is None for row in rows] == sorted(
        row["level_error_deg"] is None for row in rows
    )
    assert len(few) == n_rejected


def test_explain_and_ride_take_a_rejected_candidate_by_riding_it_whole(levelgain, folder, number):
    code, out, err = levelgain("explain", folder, number, "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)["around"][0]["level_error_deg"] > 0.0

    code, out, err = levelgain("ride", folder, number, "--json")
    assert (code, err) == (0, "")
    assert len(json.loads(out)) == N_RIDES


def test_the_page_has_no_place_for_them(levelgain, folder, results, number):
    observed = page_data(results)
    code, _, err = levelgain("page", folder, "--with", number)

    assert set(observed["details"]["numbers"]).isdisjoint(
        np.flatnonzero(results.rejected_early).tolist()
    )
    assert observed["rows"]["number"]["shape"] == [len(results) - results.rejected_early.sum()]
    assert code == 2
    assert f"--with {number}: candidate {number} was rejected early after" in err
    assert err.count("\n") == 1
    assert LiveStudy(folder).candidate(number) is None


def test_the_nearest_to_feasible_are_among_those_that_are_scored(results):
    nearest = least_violating(results, limit=len(results))

    assert len(nearest) == len(results) - results.rejected_early.sum()
    assert not results.rejected_early[nearest].any()
