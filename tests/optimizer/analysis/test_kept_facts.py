"""What is kept of a candidate is what would be found now; anything else is found again."""

import dataclasses
import json
import shutil

import numpy as np
import pytest

from optimizer.analysis import kept_facts
from optimizer.analysis.constraint_facts import CONSTRAINTS
from optimizer.analysis.kept_facts import facts
from optimizer.analysis.nose_down_rates import RATES
from optimizer.analysis.results import nearest_misses, read_results
from optimizer.reports.lookups import keep_lookups
from optimizer.reports.rider_limits import LIMITS
from optimizer.reports.warning_speeds import SPEED_UPS
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from optimizer.study.paths import KEPT_FACTS

KINDS = (CONSTRAINTS, RATES, LIMITS, SPEED_UPS)


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


@pytest.fixture
def copied(results, finished, tmp_path):
    """Return the results of a copy of the finished study, whose kept facts may be damaged."""
    place = tmp_path / "results" / KEPT_FACTS
    place.parent.mkdir()
    shutil.copy(finished / "results" / KEPT_FACTS, place)
    study = dataclasses.replace(results.study, folder=tmp_path)
    return dataclasses.replace(results, study=study), place


def unfound(_results, numbers):
    raise AssertionError(f"{numbers} were found again")


def kept_alone(kind):
    """Return a kind whose facts can only be read."""
    return dataclasses.replace(kind, find=unfound)


def found_again(kind, results, number):
    """Say whether a fact is found again, after it is checked to be the same."""
    expected = kind.find(results, [number])
    asked = []

    def find(_results, numbers):
        asked.extend(numbers)
        return expected

    assert facts(dataclasses.replace(kind, find=find), results, [number]) == expected
    return asked == [number]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_run_keeps_of_the_baseline_and_every_pick_what_would_be_found(results, kind):
    numbers = [BASELINE, *results.picks.values()]

    kept = facts(kept_alone(kind), results, numbers)

    assert kept == kind.find(results, numbers)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_facts_are_kept_of_the_whole_front(results, kind):
    front = np.flatnonzero(results.on_front).tolist()

    kept = facts(kept_alone(kind), results, front)

    assert kept == [kind.find(results, [number])[0] for number in front]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_candidate_of_which_nothing_is_kept_is_found(results, kind):
    left = int(np.flatnonzero(~results.on_front)[-1])

    assert found_again(kind, results, left)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
@pytest.mark.parametrize("text", ["", "[]", '{"constraints": [', "{}", "[" * 100_000, "\udcff"])
def test_where_the_file_can_not_be_read_facts_are_found(copied, kind, text):
    results, place = copied
    place.write_text(text, errors="surrogateescape")

    assert found_again(kind, results, BASELINE)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_damaged_fact_is_found_again_and_others_are_read(copied, kind):
    results, place = copied
    other = results.picks["balanced"]
    assert other != BASELINE
    content = json.loads(place.read_text())
    fact = content[kind.name][str(BASELINE)]["fact"]
    first = fact[0] if isinstance(fact, list) else next(iter(fact.values()))
    name = next(key for key, value in first.items() if isinstance(value, float))
    first[name] += 1.0
    place.write_text(json.dumps(content))

    assert found_again(kind, results, BASELINE)
    assert not found_again(kind, results, other)


@pytest.mark.parametrize("kept", [None, [], {}, {"fact": []}, {"fact": [], "digest": "0"}, 3])
def test_what_is_no_fact_is_not_read(copied, kept):
    results, place = copied
    content = json.loads(place.read_text())
    content[CONSTRAINTS.name][str(BASELINE)] = kept
    place.write_text(json.dumps(content))

    assert found_again(CONSTRAINTS, results, BASELINE)


def test_a_fact_of_another_candidate_is_not_read(copied):
    results, place = copied
    content = json.loads(place.read_text())
    of_constraints = content[CONSTRAINTS.name]
    of_constraints[str(BASELINE)] = of_constraints[str(results.picks["balanced"])]
    place.write_text(json.dumps(content))

    assert found_again(CONSTRAINTS, results, BASELINE)


def other_rides(results):
    rides = results.rides.copy()
    rides[BASELINE, 0, 0] += 1.0
    return dataclasses.replace(results, rides=rides)


def other_limits(results):
    settings = dataclasses.replace(results.study.settings, sensitivity_limit=1.9)
    study = dataclasses.replace(results.study, settings=settings)
    return dataclasses.replace(results, study=study)


def other_noise(results):
    return dataclasses.replace(results, reevaluated=~results.reevaluated)


@pytest.mark.parametrize("changed", [other_rides, other_limits, other_noise])
def test_facts_of_other_rides_or_another_study_are_found_again(results, changed):
    assert not found_again(CONSTRAINTS, results, BASELINE)

    assert found_again(CONSTRAINTS, changed(results), BASELINE)


def test_facts_of_another_version_of_the_program_are_found_again(results, monkeypatch):
    monkeypatch.setattr(kept_facts, "_program", lambda: "another")

    assert found_again(CONSTRAINTS, results, BASELINE)


def test_where_none_is_feasible_the_nearest_are_kept(copied):
    results, place = copied
    place.unlink()
    none = dataclasses.replace(results, picks={}, on_front=np.zeros_like(results.on_front))

    assert keep_lookups(none) == place

    nearest = [BASELINE, *nearest_misses(none).values()]
    assert len(nearest) > 1
    assert all(facts(kept_alone(kind), none, nearest) for kind in KINDS)


def test_a_candidate_is_shown_and_handed_over_alike_with_and_without_kept_facts(
    levelgain, finished, tmp_path
):
    without = tmp_path / "study"
    shutil.copytree(finished, without)
    (without / "results" / KEPT_FACTS).unlink()
    said, files = [], []
    for folder in (finished, without):
        exports = tmp_path / f"exports_{folder.name}"
        shown = levelgain("show", folder, "balanced"), levelgain("show", folder, 0, "--json")
        assert levelgain("export", folder, "balanced", "--to", exports)[0] == 0
        named = str(folder)
        said.append([text.replace(named, "STUDY") for _, *texts in shown for text in texts])
        files.append(
            {path.name: path.read_text().replace(named, "STUDY") for path in exports.iterdir()}
        )

    assert said[0] == said[1]
    assert files[0] == files[1]
    assert len(files[0]) == 4
