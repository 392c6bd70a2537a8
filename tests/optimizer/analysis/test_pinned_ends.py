"""Where the whole front lies at an end of a searched range, that and what lies beyond are said."""

import dataclasses

import numpy as np
import pytest

from objectives import OBJECTIVES
from optimizer.analysis.beyond_ends import BeyondEnd, beyond_ends
from optimizer.analysis.pinned_ends import PinnedEnd, pinned_ends
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import ride_portfolio, rules_of, whole_profiles
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.study.load import load_study

NAME = "rate_gain_a_per_deg_per_s"


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


def moved_to(results, share_at_low, share_at_high):
    """Return the results with so much of the front at either end of one parameter's range."""
    space = results.study.space
    place = space.names.index(NAME)
    front = np.flatnonzero(results.on_front)
    values = results.history.values.copy()
    values[front, place] = 0.5 * (space.low[place] + space.high[place])
    n_low, n_high = (round(share * len(front)) for share in (share_at_low, share_at_high))
    values[front[:n_low], place] = space.low[place]
    values[front[len(front) - n_high :], place] = space.high[place]
    history = dataclasses.replace(results.history, values=values)
    return dataclasses.replace(results, history=history), n_low / len(front), n_high / len(front)


def test_the_share_of_the_front_at_each_end_is_counted(results):
    moved, at_low, at_high = moved_to(results, 0.34, 0.6)

    found = {each.is_upper: each for each in pinned_ends(moved) if each.name == NAME}

    assert found[True].share == pytest.approx(at_high)
    assert found[True].end == results.study.space.high[results.study.space.names.index(NAME)]
    assert (False in found) == (at_low >= 0.25)


def test_an_end_of_few_candidates_is_not_one_of_the_front(results):
    moved, _, _ = moved_to(results, 0.0, 0.0)

    assert NAME not in [each.name for each in pinned_ends(moved)]


def test_without_a_front_there_is_nothing_to_say(results):
    none = np.zeros_like(results.on_front)

    assert pinned_ends(dataclasses.replace(results, on_front=none)) == []


def test_beyond_an_end_is_what_riding_there_gives(results):
    space = results.study.space
    place = space.names.index(NAME)
    high = float(space.high[place])
    # The range ends, for this test, where the cheapest candidate of the front lies.
    front = np.flatnonzero(results.on_front)
    cheapest = int(front[np.argmin(results.weighted_cost[front])])
    pinned = PinnedEnd(name=NAME, is_upper=True, end=high, share=1.0, furthest=10.0)
    values = results.history.values.copy()
    values[cheapest, place] = high
    history = dataclasses.replace(results.history, values=values)
    moved = dataclasses.replace(results, history=history)

    [found] = beyond_ends(moved, [pinned])

    row = values[cheapest].copy()
    row[place] = found.value
    study = on_fresh_noise(results.study)
    scores, _ = ride_portfolio(study, whole_profiles(study, row[None]), rules=rules_of(study))
    assert found.value > high
    np.testing.assert_array_equal(found.moved_objectives, scores.objectives[0])
    assert bool(found.fails) == bool((scores.constraints[0] > 0.0).any())


def test_an_end_that_can_not_be_widened_is_not_ridden_beyond(results):
    assert beyond_ends(
        results, [PinnedEnd(name=NAME, is_upper=False, end=0.0, share=1.0, furthest=0.0)]
    ) == []  # fmt: skip


@pytest.mark.parametrize(
    ("moved_cost", "fails", "said"),
    [
        (0.65, [], "Widen search.bounds."),
        (0.72, [], "brings nothing"),
        (0.65, ["the loop is unstable; asked: none"], "Keep the end."),
    ],
)
def test_what_is_advised_follows_from_what_was_ridden(moved_cost, fails, said):
    pinned = PinnedEnd(name=NAME, is_upper=True, end=2.0, share=0.9, furthest=10.0)
    ones = np.ones(len(OBJECTIVES))
    found = BeyondEnd(
        pinned=pinned, number=7, value=2.2, cost=0.7, moved_cost=moved_cost,
        objectives=ones, moved_objectives=ones, fails=fails,
    )  # fmt: skip

    assert said in found.sentence
    assert "90 % of the front lies within 5 % of the upper end of" in found.sentence
