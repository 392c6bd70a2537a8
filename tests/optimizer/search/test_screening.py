import numpy as np

from optimizer.search.screening import screen
from optimizer.search.variation import Operators, children

GOAL = np.array([[0.3] * 4, [0.6] * 4])


def _objectives(rows):
    return np.linalg.norm(rows[:, None] - GOAL, axis=2)


NO_FRONT = np.empty((0, 2))


def _everyone(rows):
    return np.ones(len(rows), dtype=bool)


def _screened(
    brood, *, n_broods, predict=_objectives, pre_feasible_of=_everyone, front=NO_FRONT, n_chosen=10
):
    rng = np.random.default_rng(9)
    return screen(
        brood,
        predict=predict,
        pre_feasible_of=pre_feasible_of,
        breed=lambda elite: children(elite, n_children=400, rng=rng, operators=Operators()),
        front=front,
        n_broods=n_broods,
        n_kept=60,
        n_chosen=n_chosen,
    )


def test_of_one_brood_the_best_are_chosen():
    brood = np.random.default_rng(9).random((400, 4))

    chosen = _screened(brood, n_broods=1)

    assert {row.tobytes() for row in chosen} <= {row.tobytes() for row in brood}
    assert _objectives(chosen).sum(axis=1).mean() < np.quantile(_objectives(brood).sum(axis=1), 0.1)


def test_each_brood_more_comes_nearer_to_the_front():
    brood = np.random.default_rng(9).random((400, 4))

    # On the line between both goals the distances to them add up to the distance of the goals.
    least = np.linalg.norm(GOAL[1] - GOAL[0])
    excess = [
        _objectives(_screened(brood, n_broods=n_broods)).sum(axis=1).mean() - least
        for n_broods in (1, 2, 4)
    ]

    assert excess[0] > 1.3 * excess[1] > 1.3 * 1.3 * excess[2] > 0.0


def test_children_predicted_to_meet_the_constraints_come_first():
    brood = np.random.default_rng(10).random((300, 3))

    chosen = _screened(
        brood,
        n_broods=1,
        predict=lambda rows: np.column_stack([rows[:, :2], 0.5 - rows[:, 2]]),
        n_chosen=20,
    )

    assert (chosen[:, 2] >= 0.5).all()


def test_where_the_front_has_a_gap_the_children_that_fill_it_come_first():
    brood = np.random.default_rng(12).random((400, 2))
    ends = np.concatenate([np.linspace(0.0, 0.3, 10), np.linspace(0.7, 1.0, 10)])
    front = np.column_stack([ends, 1.0 - ends])

    def on_line(rows):
        return np.column_stack([rows[:, 0], 1.0 - rows[:, 0]])

    chosen = _screened(brood, n_broods=1, predict=on_line, front=front, n_chosen=8)

    assert ((chosen[:, 0] > 0.3) & (chosen[:, 0] < 0.7)).sum() >= 6


def test_a_small_brood_gives_what_it_has():
    brood = np.random.default_rng(11).random((6, 4))

    assert len(_screened(brood, n_broods=1)) == 6


def test_of_the_best_none_is_selected_that_is_not_pre_feasible():
    brood = np.random.default_rng(12).random((400, 4))

    def pre_feasible_of(rows):
        return rows[:, 0] <= 0.5

    for front in (NO_FRONT, _objectives(np.random.default_rng(13).random((40, 4)))):
        free = _screened(brood, n_broods=3, front=front)
        bound = _screened(brood, n_broods=3, front=front, pre_feasible_of=pre_feasible_of)
        assert (free[:, 0] > 0.5).any()
        assert len(bound) == 10
        assert (bound[:, 0] <= 0.5).all()


def test_where_nobody_may_ride_children_are_chosen_all_the_same():
    brood = np.random.default_rng(12).random((400, 4))

    chosen = _screened(
        brood, n_broods=3, pre_feasible_of=lambda rows: np.zeros(len(rows), dtype=bool)
    )

    assert len(chosen) == 10
