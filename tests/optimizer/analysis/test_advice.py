"""Advice names the settings that were worsened on purpose, and tells no noise as a gain."""

import dataclasses

import numpy as np
import pytest

from objectives import OBJECTIVES, Components, components_of_rides
from optimizer.analysis.advice.advice import advised
from optimizer.analysis.advice.change_sets import (
    UNCHANGED,
    Trials,
    extended,
    halfway,
    other_values,
    single_changes,
    values_to_try,
)
from optimizer.analysis.advice.paired_noise import N_DRAWS, OnDraws, gain, is_better
from optimizer.analysis.advice.trying import added_up, changed
from optimizer.analysis.comparison import compared
from optimizer.analysis.profile_costs import scored_profiles, yardsticks
from optimizer.cli.console import console
from optimizer.cli.output.advise import print_advice
from optimizer.execution.evaluate import searched_columns
from optimizer.search.space import on_grid
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, array_to_profile, profile_to_array
from tests.optimizer.advice_study import SEARCHED, write_advice_study

GOOD = {"inner_gain_a_per_deg": 17.0, "uphill_gain_deg_per_mps2": 1.5}
# Far off, each towards an end of its searched range.
WORSENED = {"inner_gain_a_per_deg": 4.0, "uphill_gain_deg_per_mps2": 4.0}


def with_values(study, **values):
    """Return the baseline with some numbers changed, (parameter,)."""
    row = profile_to_array(study.baseline)
    for name, value in values.items():
        row[PROFILE_NAMES.index(name)] = value
    return row


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Return a study in which nothing was searched."""
    return load_study(write_advice_study(tmp_path_factory.mktemp("advice") / "study"))


@pytest.fixture(scope="module")
def of_two_worsened(study):
    return advised(study, with_values(study, **GOOD | WORSENED), n_jobs=2)


@pytest.fixture(scope="module")
def of_good(study):
    return advised(study, with_values(study, **GOOD), most=1, n_jobs=2)


def test_one_worsened_setting_is_named_first_and_its_cost_comes_back(study, of_good):
    worsened = with_values(study, **GOOD | {"inner_gain_a_per_deg": 4.0})

    found = advised(study, worsened, most=1, n_jobs=2)

    (change,) = found.steps[1].changes
    assert (change.name, change.before) == ("inner_gain_a_per_deg", 4.0)
    assert found.kept == 1
    assert not found.now.feasible
    assert found.best.feasible
    lost = found.now.cost - of_good.now.cost
    assert found.now.cost - found.best.cost > 0.8 * lost
    assert lost > 0.2


def test_two_worsened_settings_are_the_pair(of_two_worsened, of_good):
    found = of_two_worsened

    assert {change.name for change in found.steps[2].changes} == set(WORSENED)
    assert found.steps[1].changes[0].name in WORSENED
    assert found.kept >= 2
    lost = found.now.cost - of_good.now.cost
    assert found.now.cost - found.steps[2].cost > 0.8 * lost


def test_where_no_change_buys_more_than_noise_that_is_said(of_good, capsys):
    found = dataclasses.replace(of_good, kept=0, idle=())

    print_advice(console(), found)

    out = capsys.readouterr().out
    assert "No change buys more than noise without breaking a constraint. Leave the" in out
    assert "Every other searched parameter matters" in out
    assert found.best.changes == ()


@pytest.mark.parametrize("kept", [0, 1])
def test_a_profile_that_fails_a_constraint_is_never_left_as_it_is(of_two_worsened, capsys, kept):
    failing = dataclasses.replace(of_two_worsened.steps[1], facts=of_two_worsened.now.facts)
    steps = (of_two_worsened.now, failing)
    found = dataclasses.replace(of_two_worsened, steps=steps, kept=kept, idle=())

    print_advice(console(), found)

    out = " ".join(capsys.readouterr().out.split())
    assert not found.best.feasible
    assert "The profile FAILS a constraint all the same." in out
    assert "Leave the profile as it is" not in out


def test_numbers_are_those_of_a_comparison(study, of_two_worsened):
    steps = of_two_worsened.steps

    again = compared(study, [str(n) for n in range(len(steps))], np.stack([s.row for s in steps]))

    np.testing.assert_array_equal(again.objectives, [step.objectives for step in steps])
    assert [list(failed) for failed in again.fails] == [step.fails for step in steps]
    assert of_two_worsened.scores[list(OBJECTIVES)].to_numpy().tolist() == (
        again.objectives.tolist()
    )


def test_each_step_is_the_profile_with_its_changes_and_no_other(study, of_two_worsened):
    here = with_values(study, **GOOD | WORSENED)
    space = study.space

    for n_changes, step in enumerate(of_two_worsened.steps):
        expected = here.copy()
        for change in step.changes:
            place = space.names.index(change.name)
            row = np.where(np.arange(space.n_parameters) == place, change.after, space.low)
            assert on_grid(space, row)[place] == change.after
            expected[PROFILE_NAMES.index(change.name)] = change.after
        assert len({change.name for change in step.changes}) == n_changes
        np.testing.assert_array_equal(step.row, expected)
        assert step.profile == array_to_profile(expected)


def test_a_setting_that_no_ride_uses_does_not_matter(study, of_two_worsened):
    """No course of the study has a bend, so what the nose does in one moves no objective."""
    assert of_two_worsened.idle == ("turn_gain_deg_per_mps2",)
    assert not {change.name for change in of_two_worsened.best.changes} & {*of_two_worsened.idle}


def test_the_outcome_does_not_depend_on_threads(study, of_good):
    again = advised(study, with_values(study, **GOOD), most=1, n_jobs=1)

    for step, other in zip(of_good.steps, again.steps, strict=True):
        assert step.changes == other.changes
        np.testing.assert_array_equal(step.objectives, other.objectives)
        np.testing.assert_array_equal(step.draws.cost, other.draws.cost)


def test_values_of_other_profiles_are_tried(study):
    other = with_values(study, inner_gain_a_per_deg=12.36)[searched_columns(study)]
    here = with_values(study)[searched_columns(study)]

    values = values_to_try(study.space, here, other[np.newaxis])

    for place, column in enumerate(values):
        assert column == sorted(set(column))
        assert here[place] not in column
        low, high = study.space.low[place], study.space.high[place]
        assert {low, high} <= {*column, here[place]}
        assert low <= min(column) <= max(column) <= high
    assert 12.36 in values[study.space.names.index("inner_gain_a_per_deg")]


def test_a_value_outside_the_searched_range_is_changed_into_it(study):
    here = with_values(study, inner_gain_a_per_deg=25.0)[searched_columns(study)]
    place = study.space.names.index("inner_gain_a_per_deg")

    values = values_to_try(study.space, here, np.empty((0, len(here))))

    assert max(values[place]) == study.space.high[place]


def trials(*rows):
    sets, costs, constraints = zip(*rows, strict=True)
    constraints = np.array(constraints, dtype=float)[:, np.newaxis]
    nothing = np.empty((len(sets), 0))
    return Trials(
        sets=sets,
        cost=np.array(costs),
        constraints=constraints,
        components=Components(costs=nothing, margins=nothing, limits=constraints),
        feel=np.zeros(len(sets)),
    )


def added(found, base, singles):
    """Return cost and violation of sums, as if the objectives themselves added up."""
    excess = found.constraints[base] + found.constraints[singles] - found.constraints[0]
    return found.cost[base] * found.cost[singles], np.maximum(excess, 0.0)[:, 0]


def test_less_violation_comes_before_less_cost():
    found = trials(
        (UNCHANGED, 1.0, 0.3),
        (((0, 1.0),), 0.5, 0.2),
        (((1, 1.0),), 0.9, -0.1),
        (((2, 1.0),), 0.8, -0.5),
    )

    assert found.best(1, limit=2, alike=1) == [((2, 1.0),), ((1, 1.0),)]


def test_the_pair_of_the_changes_that_help_most_is_ridden_first():
    found = trials(
        (UNCHANGED, 1.0, -1.0),
        (((0, 1.0),), 0.9, -1.0),
        (((0, 2.0),), 0.7, -1.0),
        (((1, 1.0),), 0.8, -1.0),
        (((2, 1.0),), 0.5, 0.2),  # breaks a constraint, by itself and with another
    )

    assert extended(found, 1, added, limit=1) == [((0, 2.0), (1, 1.0))]
    pairs = extended(found, 1, added, limit=9)
    assert [{place for place, _ in pair} for pair in pairs] == [{0, 1}, {0, 2}, {1, 2}]


def test_what_two_changes_do_adds_up_ride_by_ride(study):
    """Of a base without changes the prediction is what the single changes did themselves."""
    searched, _ = yardsticks(study)
    profile = with_values(study, **GOOD)
    columns = searched_columns(study)
    values = values_to_try(study.space, profile[columns], np.empty((0, len(columns))))
    sets = [UNCHANGED, *single_changes(values)[:5]]
    rows = changed(searched, profile, sets)
    found = scored_profiles(searched, rows, n_jobs=2)
    constraints = found.scores.constraints
    ridden = Trials(
        sets=tuple(sets),
        cost=found.cost,
        constraints=constraints,
        components=components_of_rides(found.rides, constraints, searched.rules),
        feel=found.feel,
    )

    cost, _ = added_up(searched, ridden, 0, np.arange(len(sets)))

    np.testing.assert_allclose(cost, found.cost, rtol=1e-12)


def test_values_are_exchanged_and_halved(study):
    here = with_values(study)[searched_columns(study)]
    place = study.space.names.index("inner_gain_a_per_deg")  # 8 now, of 4 to 20
    values = [[] for _ in SEARCHED]
    values[place] = [4.0, 12.0, 20.0]

    assert other_values(values, [((place, 12.0),)]) == [((place, 4.0),), ((place, 20.0),)]
    assert halfway(study.space, here, values, [((place, 12.0),)]) == [
        ((place, 10.0),),
        ((place, 16.0),),
    ]


def on(cost, violation=0.0):
    draws = np.linspace(-1.0, 1.0, N_DRAWS)
    return OnDraws(cost=cost + 0.0 * draws, violation=np.full(N_DRAWS, violation))


def test_a_gain_has_the_interval_of_a_paired_t_test():
    """95 % of Student's t with 7 degrees of freedom, by scipy."""
    stats = pytest.importorskip("scipy.stats")
    draw = np.random.default_rng(3)
    before, after = 1.0 + 0.1 * draw.standard_normal((2, N_DRAWS))

    found = gain(before, after)

    interval = stats.ttest_rel(before, after).confidence_interval(0.95)
    assert found.mean - found.half_width == pytest.approx(interval.low, rel=1e-3, abs=1e-5)
    assert found.mean + found.half_width == pytest.approx(interval.high, rel=1e-3, abs=1e-5)


def test_a_change_within_noise_is_no_gain():
    wobble = np.array([0.02, -0.03] * (N_DRAWS // 2))
    before = on(1.0)

    assert is_better(before, on(0.9))
    assert not is_better(before, dataclasses.replace(before, cost=0.999 + wobble))
    assert not is_better(before, on(0.5, violation=0.1))
    assert is_better(on(1.0, violation=0.1), on(1.5))
