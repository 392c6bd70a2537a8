"""What a study says about its parameters is what riding says, and what a known function says."""

import dataclasses
import json

import numpy as np
import pytest

from objectives import OBJECTIVES
from optimizer import importance
from optimizer.cli import main
from optimizer.evaluation import History
from optimizer.importance import importances
from optimizer.results import read_results
from optimizer.riding import ride_portfolio, rules_of, whole_profiles
from optimizer.running import run_study
from optimizer.sensitivity import Sensitivity, most_important, sensitivity, sentence
from optimizer.study_file import load_study
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    study = load_study(write_small_study(tmp_path_factory.mktemp("explain") / "study"))
    run_study(study, n_candidates=48, n_jobs=2, on_generation=lambda _: None, stop=lambda: False)
    return read_results(study)


@pytest.fixture(scope="module")
def around(results):
    return sensitivity(results, results.picks["balanced"], n_jobs=2)


def test_a_moved_parameter_is_ridden_again(results, around):
    place = around.names.index("rate_gain_a_per_deg_per_s")
    row = around.here.copy()
    row[place] = around.moved[1, place]

    study = results.study
    scores, _ = ride_portfolio(study, whole_profiles(study, row[None, :]), rules=rules_of(study))

    np.testing.assert_array_equal(scores.objectives[0], around.moved_objectives[1, place])
    space = study.space
    step = 0.1 * (space.high - space.low)
    np.testing.assert_allclose(
        around.moved[1], np.minimum(around.here + step, space.high), rtol=1e-12
    )
    assert np.all(around.moved >= space.low - 1e-12)


def test_the_most_important_move_the_cost_most(around):
    order = most_important(around, limit=len(around.names))

    assert np.all(np.diff(around.effect[order]) <= 0.0)
    assert around.effect[order[0]] > 0.0


def told(before, after, *, meets=True):
    """Return a sensitivity of one parameter that is raised from 3 to 4."""
    objectives = np.array(before, dtype=np.float64)
    moved = np.array([[objectives], [after]], dtype=np.float64)
    return Sensitivity(
        names=("base_gain_a_per_deg",),
        here=np.array([3.0]),
        objectives=objectives,
        cost=1.0,
        moved=np.array([[2.0], [4.0]]),
        moved_objectives=moved,
        moved_cost=np.array([[1.0], [1.2]]),
        meets=np.array([[True], [meets]]),
    )


@pytest.mark.parametrize(
    ("after", "meets", "words"),
    [
        (
            (1.8, 33.0, 0.02), True,
            "Raising base_gain_a_per_deg from 3 to 4 lowers the level error by 0.2 deg (-10 %) and"
            " raises the peak current beyond the need by 3 A (+10 %).",
        ),
        (
            (2.0, 30.0, 0.03), False,
            "Raising base_gain_a_per_deg from 3 to 4 raises the nose-down risk by 0.01 (+50 %);"
            " it then fails a constraint.",
        ),
        (
            (2.001, 30.0, 0.02), True,
            "Raising base_gain_a_per_deg from 3 to 4 changes no objective that shows.",
        ),
    ],
)  # fmt: skip
def test_a_sentence_says_what_changes_with_units(after, meets, words):
    assert sentence(told((2.0, 30.0, 0.02), after, meets=meets), 0) == words


def test_importance_finds_the_parameter_that_alone_decides(results):
    space = results.study.space
    random = np.random.default_rng(6)
    values = random.uniform(space.low, space.high, (400, space.n_parameters))
    unit = (values - space.low) / (space.high - space.low)
    objectives = np.column_stack([(unit[:, k] - 0.3) ** 2 + 0.1 for k in (4, 9, 14)])
    history = History(values=values, objectives=objectives, constraints=np.full((400, 1), -1.0))
    made = dataclasses.replace(results, searched=history, feasible=np.ones(400, dtype=np.bool_))

    found = importances(made)

    for name, place in zip(OBJECTIVES, (4, 9, 14), strict=True):
        first, share = next(iter(found[name].items()))
        assert first == space.names[place]
        assert share > 0.5
        assert sum(found[name].values()) == pytest.approx(1.0)


def test_too_few_candidates_have_no_importance(results, monkeypatch):
    monkeypatch.setattr(importance, "_FEWEST", 10_000)

    assert importances(results) == {name: {} for name in OBJECTIVES}


def test_the_command_explains_in_words_and_as_json(results, monkeypatch, capsys):
    folder = results.study.folder
    monkeypatch.setattr("sys.argv", ["levelgain", "explain", str(folder), "balanced"])
    with pytest.raises(SystemExit):
        main()
    out = capsys.readouterr().out
    number = results.picks["balanced"]
    assert out.count("\n- ") == 5
    assert (folder / "results" / "figures" / f"sensitivity_{number}.png").is_file()

    monkeypatch.setattr("sys.argv", ["levelgain", "explain", str(folder), "balanced", "--json"])
    with pytest.raises(SystemExit):
        main()
    facts = json.loads(capsys.readouterr().out)
    assert len(facts["sentences"]) == 5
    assert len(facts["around"]) == results.study.space.n_parameters
    assert set(facts["importance"]) == set(OBJECTIVES)
