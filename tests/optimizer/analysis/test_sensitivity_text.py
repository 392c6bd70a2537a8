import numpy as np
import pytest

from objectives import CONSTRAINT_NAMES
from optimizer.analysis.sensitivity import Sensitivity
from optimizer.analysis.sensitivity_text import bound_advice, sentence

MET = np.full(len(CONSTRAINT_NAMES), -0.5)


def failing(*names):
    return np.where(np.isin(CONSTRAINT_NAMES, names), 0.1, MET)


def moved_once(after, *, before=(2.0, 30.0, 0.02), value=3.0, to=4.0, fails=MET, failed=MET):
    """Return a sensitivity of one parameter that can be moved to one side only."""
    objectives, changed = np.array(before), np.array(after)
    side = int(to > value)
    moved, cost = np.full((2, 1), value), np.ones((2, 1))
    moved[side], cost[side] = to, 1.2
    moved_objectives = np.tile(objectives, (2, 1, 1))
    moved_constraints = np.tile(failed, (2, 1, 1))
    moved_objectives[side, 0], moved_constraints[side, 0] = changed, fails
    return Sensitivity(
        names=("integral_clamp_a",),
        here=np.array([value]),
        objectives=objectives,
        constraints=failed,
        cost=1.0,
        moved=moved,
        moved_objectives=moved_objectives,
        moved_constraints=moved_constraints,
        moved_cost=cost,
    )


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (
            moved_once((1.8, 33.0, 0.02)),
            "Raising integral_clamp_a from 3 to 4 lowers the level error by 0.2 deg (-10 %) and"
            " raises the peak current beyond the need by 3 A (+10 %).",
        ),
        (
            moved_once((2.0, 30.0, 0.03), to=2.0, fails=failing("gain_margin", "rest_shake")),
            "Lowering integral_clamp_a from 3 to 2 raises the nose-down rate by 0.01 per 1,000 km"
            " (+50 %); it then fails gain_margin and rest_shake.",
        ),
        (
            moved_once((2.2, 33.0, 0.03)),
            "Raising integral_clamp_a from 3 to 4 raises the level error by 0.2 deg (+10 %),"
            " raises the peak current beyond the need by 3 A (+10 %) and raises the nose-down rate"
            " by 0.01 per 1,000 km (+50 %).",
        ),
        (
            moved_once((2.001, 30.0, 0.02)),
            "Raising integral_clamp_a from 3 to 4 changes no objective that shows.",
        ),
        (
            moved_once((2.0, 30.0, 0.01), before=(2.0, 30.0, 0.0)),
            "Raising integral_clamp_a from 3 to 4 raises the nose-down rate by 0.01 per 1,000 km.",
        ),
        (
            moved_once((2.0, 33.0, 0.02), failed=failing("feel_band")),
            "Raising integral_clamp_a from 3 to 4 raises the peak current beyond the need by 3 A"
            " (+10 %); it then meets every constraint.",
        ),
        (
            moved_once((2.0, 33.0, 0.02), failed=failing("feel_band"), fails=failing("feel_band")),
            "Raising integral_clamp_a from 3 to 4 raises the peak current beyond the need by 3 A"
            " (+10 %).",
        ),
    ],
)  # fmt: skip
def test_a_sentence_says_what_changes_with_units(found, words):
    assert sentence(found, 0) == words


@pytest.mark.parametrize(
    ("found", "low", "high", "words"),
    [
        (
            moved_once((2.2, 30.0, 0.02), value=30.0, to=27.0), 0.0, 30.0,
            "integral_clamp_a sits at the upper end of 0 to 30. Moving it away to 27 raises the"
            " level error by 0.2 deg (+10 %): more may be gained beyond. Widen"
            " search.bounds.integral_clamp_a (it can go to 150) in a new study (levelgain fork),"
            " or keep the end on purpose.",
        ),
        (
            moved_once((2.2, 30.0, 0.02), value=150.0, to=140.0), 50.0, 150.0,
            "integral_clamp_a sits at the upper end of 50 to 150. Moving it away to 140 raises the"
            " level error by 0.2 deg (+10 %): it can go no further than 150, so keep it.",
        ),
        (
            moved_once((1.8, 30.0, 0.02), value=10.0, to=12.0), 10.0, 30.0,
            "integral_clamp_a sits at the lower end of 10 to 30. Moving it away to 12 lowers the"
            " level error by 0.2 deg (-10 %): the end does not hold this profile back, so leave"
            " the range.",
        ),
        (
            moved_once((2.0, 30.0, 0.02), value=10.0, to=12.0, fails=failing("phase_margin")),
            10.0, 30.0,
            "integral_clamp_a sits at the lower end of 10 to 30. Moving it away to 12 changes no"
            " objective that shows; it then fails phase_margin: more may be gained beyond. Widen"
            " search.bounds.integral_clamp_a (it can go to 0) in a new study (levelgain fork), or"
            " keep the end on purpose.",
        ),
    ],
)  # fmt: skip
def test_a_range_is_worth_widening_only_where_its_end_holds_the_profile_back(
    found, low, high, words
):
    assert bound_advice(found, "integral_clamp_a", low=low, high=high) == words
