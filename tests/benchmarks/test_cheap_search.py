from types import SimpleNamespace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from objectives import RIDE_COLUMNS
from objectives.constraints import ending_constraints
from plant.outcomes import Outcome
from tests.benchmarks.cheap_rides import telling_rides
from tests.benchmarks.cheap_search import given_away

ENDS = st.sampled_from([Outcome.RIDDEN, Outcome.NOSE_DOWN, Outcome.RIDER_OFF])
RIDES = st.lists(st.tuples(ENDS, st.booleans(), st.floats(0.01, 9.0)), min_size=2, max_size=9)


def test_the_cheapest_rides_that_give_every_failure_away_are_chosen():
    ended = np.array(
        [
            [True, True, False, False],
            [True, True, False, False],
            [False, False, True, False],
            [False, False, False, False],
        ]
    )

    assert telling_rides(ended, np.array([20.0, 10.0, 60.0, 5.0])) == [1, 2]
    assert telling_rides(ended[3:], np.ones(4)) == []


@given(RIDES, st.floats(0.0, 0.9))
def test_who_is_given_away_fails_whatever_the_other_rides_bring(rides, nose_down_share):
    outcome, telling, weight = (np.array(column) for column in zip(*rides, strict=True))
    columns = np.zeros((1, len(rides), len(RIDE_COLUMNS)))
    columns[0, :, RIDE_COLUMNS.index("outcome")] = outcome
    settings = SimpleNamespace(nose_down_share=nose_down_share)

    away = given_away(columns, telling, SimpleNamespace(ride_weight=weight, settings=settings))

    failed = ending_constraints(outcome[None, :], weight, nose_down_share=nose_down_share)
    assert not away[0] or max(failed)[0] > 0.0
    everything = np.ones(len(rides), dtype=bool)
    rules = SimpleNamespace(ride_weight=weight, settings=settings)
    assert given_away(columns, everything, rules)[0] == (max(failed)[0] > 0.0)
