"""What a study says about a candidate's parameters is what riding says."""

import json
import re

import numpy as np
import pandas as pd
import pytest

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.profile_costs import candidate_yardstick
from optimizer.analysis.results import read_results
from optimizer.analysis.sensitivity import most_important, sensitivity
from optimizer.analysis.sensitivity_text import sentence
from optimizer.cli import main
from optimizer.execution.evaluate import ride_portfolio, rules_of, whole_profiles
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.execution.run import reevaluate_front, run_study
from optimizer.search.space import clip
from optimizer.study.load import load_study
from tests.optimizer.small_study import write_small_study

PHRASES = {
    "level_error_deg": "the level error",
    "excess_current_a": "the peak current beyond the need",
    "nose_downs_per_1000_km": "the nose-down rate",
}


def go_on():
    return False


def ends(space, name):
    place = space.names.index(name)
    return space.low[place], space.high[place]


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    study = load_study(write_small_study(tmp_path_factory.mktemp("explain") / "study"))
    run_study(study, n_candidates=48, n_jobs=2, on_generation=lambda _: None, stop=go_on)
    reevaluate_front(study, n_jobs=2, advance=lambda *_: None, stop=go_on)
    return read_results(study)


@pytest.fixture(scope="module")
def around(results):
    number = results.picks["balanced"]
    row = candidate_profile(results, number)
    return sensitivity(candidate_yardstick(results, number), row, n_jobs=2)


def test_a_moved_parameter_is_ridden_again(results, around):
    place = around.names.index("rate_gain_a_per_deg_per_s")
    row = around.here.copy()
    row[place] = around.moved[1, place]

    study = on_fresh_noise(results.study)
    scores, _ = ride_portfolio(study, whole_profiles(study, row[None, :]), rules=rules_of(study))

    np.testing.assert_array_equal(scores.objectives[0], around.moved_objectives[1, place])
    space = study.space
    step = 0.1 * (space.high - space.low)
    np.testing.assert_allclose(
        around.moved[1], np.minimum(around.here + step, space.high), rtol=1e-3
    )
    assert np.all(around.moved >= space.low - 1e-12)


def test_the_most_important_move_the_cost_most(around):
    order = most_important(around, limit=len(around.names))

    assert np.all(np.diff(around.effect[order]) <= 0.0)
    assert around.effect[order[0]] > 0.0


def test_a_reevaluated_candidate_is_moved_on_the_noise_of_its_numbers(results, around):
    number = results.picks["balanced"]
    assert results.reevaluated[number]

    np.testing.assert_array_equal(around.objectives, results.history.objectives[number])
    moved = [name != "tolerances" for name in CONSTRAINT_NAMES]  # those are not ridden again
    np.testing.assert_array_equal(
        around.constraints[moved], results.history.constraints[number][moved]
    )
    assert around.cost == pytest.approx(results.weighted_cost[number], rel=1e-12)
    assert np.any(around.objectives != results.searched.objectives[number])


def test_each_sentence_agrees_in_sign_with_riding_again(results, around):
    signs = {"raises": 1.0, "lowers": -1.0}
    n_told = 0
    for place in most_important(around):
        words = sentence(around, place)
        name, before, after = re.match(r"\w+ing (\w+) from (\S+) to (\S+) ", words).groups()
        assert words.startswith("Raising" if float(after) > float(before) else "Lowering")
        row = around.here.copy()
        row[results.study.space.names.index(name)] += (
            0.1 * np.ptp(ends(results.study.space, name)) * (1 if words[0] == "R" else -1)
        )
        row = clip(results.study.space, row[None, :])
        study = on_fresh_noise(results.study)
        again, _ = ride_portfolio(study, whole_profiles(study, row), rules=rules_of(study))
        change = dict(zip(OBJECTIVES, again.objectives[0] - around.objectives, strict=True))
        for objective, phrase in PHRASES.items():
            said = re.search(rf"(raises|lowers) {phrase} by (\S+)", words)
            if said:
                n_told += 1
                assert np.sign(change[objective]) == signs[said[1]]
                assert abs(change[objective]) == pytest.approx(float(said[2]), rel=6e-3)

    assert n_told >= 5


def test_the_files_hold_what_was_ridden_and_every_share(results, around, levelgain):
    number = results.picks["balanced"]
    figures = results.study.folder / "results" / "figures"

    code, _, _ = levelgain("explain", results.study.folder, "balanced")
    table = pd.read_csv(figures / f"sensitivity_{number}.csv", keep_default_na=False)
    shares = pd.read_csv(figures / "importance.csv")

    assert code == 0
    places = [around.names.index(name) for name in table["parameter"]]
    assert sorted(places) == list(range(len(around.names)))
    for side, word in enumerate(("lowered", "raised")):
        np.testing.assert_allclose(table[word], around.moved[side, places], rtol=1e-12)
        for column, objective in enumerate(OBJECTIVES):
            expected = around.moved_objectives[side, places, column]
            np.testing.assert_allclose(table[f"{word}_{objective}"], expected, rtol=1e-12)
        assert (table[f"{word}_meets"] == (table[f"{word}_fails"] == "")).all()
    assert len(shares) == len(OBJECTIVES) * len(around.names)
    sums = shares.groupby("objective")["importance_ratio"].sum()
    np.testing.assert_allclose(sums[list(OBJECTIVES)], 1.0)


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
