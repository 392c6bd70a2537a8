"""What a constraint says in words are the numbers that the search judges by."""

import math
import re

import numpy as np
import pytest

from objectives import CONSTRAINT_NAMES, RIDE_COLUMNS
from objectives.constraints import NOT_ASKED
from optimizer.analysis.candidate import failures_of
from optimizer.analysis.constraint_facts import broken, constraint_facts, facts_of_candidates
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import rules_of
from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from tests.optimizer.small_study import STEEP, searched, write_small_study


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Return results with many rides that end early, and others that are not ridden."""
    folder = write_small_study(tmp_path_factory.mktemp("facts") / "steep", *STEEP)
    searched(folder, 24)
    return read_results(load_study(folder))


@pytest.fixture(scope="module")
def facts(results):
    """Return the facts of every candidate by the constraint's name, as searched."""
    found = facts_of_candidates(results, range(len(results)))
    return [{fact.name: fact for fact in each} for each in found]


def test_each_constraint_says_what_it_found_and_is_met_as_the_search_has_it(results, facts):
    for number, by_name in enumerate(facts):
        assert tuple(by_name) == CONSTRAINT_NAMES
        assert all(fact.found and fact.asked for fact in by_name.values())
        met = np.array([fact.met for fact in by_name.values()])
        np.testing.assert_array_equal(met, results.history.constraints[number] <= 0.0)


def test_the_rides_that_ended_with_the_nose_down_are_counted_and_named(results, facts):
    names = [ride.name for ride in results.study.rides]
    outcome = results.rides[:, :, RIDE_COLUMNS.index("outcome")]
    assert (outcome == Outcome.NOSE_DOWN).any()
    for number, by_name in enumerate(facts):
        down = np.flatnonzero(outcome[number] == Outcome.NOSE_DOWN)
        found = by_name["nose_down"].found
        assert found.startswith(f"{len(down) or 'none'} of ")
        assert all(names[place] in found for place in down[:3])
        n_ridden = np.count_nonzero(~np.isnan(outcome[number]))
        assert f" {n_ridden} rides" in found


@pytest.mark.parametrize(
    ("name", "pattern", "of_found"),
    [
        # The inverse of how objectives.constraints scales each.
        ("sensitivity", r"sensitivity ([\d.]+),", lambda ms: 1.0 / 2.0 - 1.0 / ms),
        ("phase_margin", r"margin ([\d.]+) deg", lambda deg: 1.0 - deg / 30.0),
        ("gain_margin", r"margin x([\d.]+),", lambda ratio: math.log(1.5 / ratio)),
        ("rest_shake", r"of ([\d.]+) deg/s", lambda rms: rms / (3.0 * 0.85) - 1.0),
    ],
)
def test_a_number_told_is_the_one_that_was_judged(facts, name, pattern, of_found):
    told = [(fact[name].value, re.search(pattern, fact[name].found)) for fact in facts]
    read = [(value, float(found.group(1))) for value, found in told if found]
    assert read
    for value, number in read:
        assert value == pytest.approx(of_found(number), rel=0.01, abs=0.01)


def test_what_a_candidate_fails_is_said_without_the_numbers_of_the_search(results, facts):
    number = next(place for place, each in enumerate(facts) if not each["nose_down"].met)

    lines = failures_of(results, number)

    assert lines[: len(broken(list(facts[number].values())))] == broken(
        list(facts[number].values())
    )
    assert any("ended with the nose down" in line and "asked: none" in line for line in lines)
    assert not any("violated" in line for line in lines)


@pytest.mark.parametrize(
    ("value", "found"),
    [
        (NOT_ASKED, "not ridden with other boards and riders"),
        (-2.0, "0 nose-downs more than the best tenth"),
        (1.0, "1 nose-down more than the best tenth"),
        (5.0, "5 nose-downs more than the best tenth"),
    ],
)
def test_nose_downs_within_the_tolerances_are_told_beyond_those_of_the_best(results, value, found):
    constraints = np.where(np.isin(CONSTRAINT_NAMES, "tolerances"), value, -1.0)

    told = constraint_facts(
        results.study,
        profile_to_array(results.study.baseline),
        results.rides[0],
        results.handling[0],
        constraints=constraints,
        rules=rules_of(results.study, hard=False),
    )[-1]

    assert (told.name, told.met) == ("tolerances", value <= 0.0)
    assert told.found.startswith(found)
