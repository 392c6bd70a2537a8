"""A run that a rule ends is finished, ends at the same candidate however it rides, and goes on."""

import dataclasses
import json
import shutil

import numpy as np
import pytest

from objectives import OBJECTIVES
from objectives.feel import MARKS
from optimizer.analysis import front_so_far
from optimizer.analysis.baseline_cost import study_cost
from optimizer.analysis.results import gathered
from optimizer.analysis.searched_feels import FeelsSoFar
from optimizer.base.errors import UserInputError
from optimizer.execution.asked_candidates import NOTHING_ASKED, Asked, asked_before
from optimizer.execution.reevaluation import front_to_reevaluate
from optimizer.execution.store import read_table
from optimizer.interface import levelgain as lg
from optimizer.interface import stopping_rules as rules
from optimizer.interface.search_progress import searched
from optimizer.reports.page.facts import candidate_facts, shown_numbers
from optimizer.search.evaluation import History
from optimizer.search.loop import Progress
from optimizer.search.pareto import non_dominated
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.small_study import write_small_study

LATEST = 12  # a generation of the small study


@pytest.fixture
def few_latest(monkeypatch):
    monkeypatch.setattr(front_so_far, "N_LATEST", LATEST)


@pytest.fixture
def percent(finished, few_latest):
    """Return a little more than what the second generation of the small study gains."""
    history = read_table(store_path(finished)).history
    rows = history.rows(0, 2 * LATEST)
    gain = front_so_far.latest_gain(load_study(finished), rows.objectives, rows.constraints)
    return 1.01 * gain.percent + 0.01


def tables(folder):
    return [(folder / "results" / name).read_bytes() for name in ("candidates.csv", "front.csv")]


def test_the_gain_is_that_of_volume_and_cost_over_the_latest_candidates(finished, few_latest):
    results = lg.read_results(load_study(finished))
    objectives, constraints = results.searched.objectives, results.searched.constraints

    gain = front_so_far.found_latest(results)

    shares, costs = [], []
    for end in (24, 36):
        front = objectives[:end][non_dominated(objectives[:end], constraints[:end])]
        points = front / objectives[0]
        drawn = np.random.default_rng(3).uniform(0.0, 2.0, (400_000, len(OBJECTIVES)))
        shares.append(np.any([(drawn >= point).all(axis=1) for point in points], axis=0).mean())
        costs.append(points.mean(axis=1).min())  # every weight is 1
    assert gain.volume_percent == pytest.approx(100.0 * (shares[1] / shares[0] - 1.0), abs=0.5)
    assert gain.cost_percent == pytest.approx(100.0 * (1.0 - costs[1] / costs[0]), abs=1e-9)
    assert gain.percent == max(gain.volume_percent, gain.cost_percent) > 0.0
    facts = candidate_facts(results, shown_numbers(results))
    assert facts["latest_gain_note"] == f"In the search {gain}."


def test_before_enough_candidates_or_without_a_front_there_is_no_gain(finished, monkeypatch):
    study = load_study(finished)
    history = read_table(store_path(finished)).history
    assert front_so_far.latest_gain(study, history.objectives, history.constraints) is None

    monkeypatch.setattr(front_so_far, "N_LATEST", LATEST)
    broken = np.ones_like(history.constraints)

    assert front_so_far.latest_gain(study, history.objectives, broken) is None


def test_a_run_ended_by_its_gain_is_finished_and_extends_to_the_bytes_of_a_long_one(
    levelgain, finished, percent, tmp_path
):
    folder = write_small_study(tmp_path / "study")

    code, out, err = levelgain("run", folder, "--until-gain", percent, "--jobs", 1)

    assert (code, err) == (0, "")
    said = next(line for line in out.splitlines() if line.startswith("The search ends"))
    assert said.startswith("The search ends at 24 candidates: the last 12 candidates gained ")
    assert said.endswith(f"To go on: levelgain resume {folder} --candidates 36")
    assert "24/24 candidates" in out
    table = read_table(store_path(folder))
    assert len(table.history) == 24
    assert not len(front_to_reevaluate(table.history, table.reevaluation).missing)
    assert table.frozen["candidates.asked"] == "24"
    assert asked_before(load_study(folder)) == NOTHING_ASKED

    assert levelgain("resume", folder, "--candidates", 36)[0] == 0
    assert tables(folder) == tables(finished)


def test_the_gain_ends_an_interrupted_run_at_the_same_candidate(levelgain, percent, tmp_path):
    folder = write_small_study(tmp_path / "study")
    heard = []
    study = load_study(folder)
    stopped = lg.run(
        study,
        until_gain_percent=percent,
        jobs=2,
        on_progress=heard.append,
        stop=lambda: len(heard) > 1,
    )
    assert len(stopped) == 12
    assert asked_before(study) == Asked(until_gain_percent=percent)

    code, out, _ = levelgain("resume", folder, "--json", "--jobs", 2)

    assert code == 0
    facts = json.loads(out)
    assert (facts["candidates"], facts["wanted_candidates"], facts["finished"]) == (24, 24, True)
    assert facts["latest_gain_percent"] < percent
    rows = tables(folder)[0].splitlines()
    assert len(rows) == 1 + 24


def test_an_interrupted_reevaluation_after_a_rule_is_gone_on_with(percent, finished, tmp_path):
    folder = shutil.copytree(finished, tmp_path / "study")
    (folder / "store.sqlite").unlink()
    study = load_study(folder)
    at_end = []

    def watch(now):
        if now.stage.startswith("front"):
            at_end.append(now)

    lg.run(study, until_gain_percent=percent, on_progress=watch, stop=lambda: bool(at_end))

    assert at_end[-1].done < at_end[-1].total
    assert asked_before(study) == Asked(n_candidates=24)


def test_the_gain_in_cost_is_that_by_which_picks_are_chosen(finished, few_latest):
    study = load_study(finished)
    table = read_table(store_path(finished))
    wanted = dataclasses.replace(study, wanted_feel=MARKS["firm"], feel_weight=50.0)
    results = gathered(wanted, table)
    history = results.searched

    def at(n_done):
        return Progress(
            n_done=n_done,
            n_wanted=36,
            n_resumed=0,
            history=history.rows(0, n_done),
            rides=lambda numbers: table.rides[numbers.start : numbers.stop],
        )

    feels = FeelsSoFar(wanted)
    heard = [searched(wanted, at(n_done), feels).note for n_done in (12, 24, 36)]
    gain = front_so_far.found_latest(results)
    why = rules.stopping_rules(wanted, feels, minutes=None, until_gain_percent=100.0)

    # As searched, by the cost that picks the one nearest to the wanted feel.
    costs = []
    for n_done in (12, 24, 36):
        known = history.rows(0, n_done)
        front = non_dominated(known.objectives, known.constraints)
        cost = study_cost(wanted, known.objectives[front], baseline=history.objectives[0],
                          feels=results.feels.taken(np.flatnonzero(front)))  # fmt: skip
        costs.append(cost.min())
    assert [note.split("best cost ")[1] for note in heard] == [
        f"{cost:.3f} (baseline 1)" for cost in costs
    ]
    assert gain.cost_percent == pytest.approx(100.0 * (1.0 - costs[2] / costs[1]))
    assert str(gain) in why(at(36))
    without = front_so_far.latest_gain(study, history.objectives, history.constraints)
    assert gain.cost_percent != pytest.approx(without.cost_percent)


def progress(n_done, n_resumed=0):
    history = History(values=np.ones((n_done, 1)), objectives=np.ones((n_done, 3)),
                      constraints=np.ones((n_done, 1)))  # fmt: skip
    return Progress(n_done=n_done, n_wanted=96, n_resumed=n_resumed, history=history,
                    rides=lambda _: np.empty((n_done, 0, 0)))  # fmt: skip


def test_minutes_end_the_generation_in_which_they_pass_but_never_the_first(finished):
    now_s = 100.0
    study = load_study(finished)
    why = rules.stopping_rules(
        study, FeelsSoFar(study), minutes=2.0, until_gain_percent=None, clock=lambda: now_s
    )

    assert why(progress(12)) == ""
    now_s += 119.0
    assert why(progress(24)) == ""
    now_s += 1.0
    assert why(progress(36)) == "the 2 minutes are over"
    assert why(progress(36, n_resumed=36)) == ""


def test_minutes_end_a_run_whose_candidates_begin_a_longer_one(finished, tmp_path):
    folder = write_small_study(tmp_path / "study")
    notices = []

    results = lg.run(load_study(folder), minutes=1e-6, notice=notices.append)

    assert len(results) == 12
    assert any("the 1e-06 minutes are over" in notice for notice in notices)
    assert results.reevaluated[0]
    long = read_table(store_path(finished)).history
    np.testing.assert_array_equal(results.searched.values, long.values[:12])
    np.testing.assert_array_equal(results.searched.objectives, long.objectives[:12])


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ({"minutes": 0.0}, "minutes: must be above 0 and at most 100,000, got 0"),
        ({"minutes": float("nan")}, "got nan"),
        ({"until_gain_percent": 101.0}, "until_gain_percent: must be above 0 and at most 100"),
        ({"until_gain_percent": -1.0}, "got -1"),
    ],
)
def test_a_rule_that_ends_no_search_is_refused(tmp_path, rule, said):
    folder = write_small_study(tmp_path / "study")

    with pytest.raises(UserInputError, match=said):
        lg.run(load_study(folder), **rule)

    assert [path.name for path in folder.iterdir()] == ["study.toml"]


def test_a_bad_rule_makes_no_example(levelgain, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    code, out, err = levelgain("run", "hill_town", "--minutes", "nan")

    assert (code, out, err.count("\n")) == (2, "", 1)
    assert not [*tmp_path.iterdir()]
