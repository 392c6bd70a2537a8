import os
import subprocess
import sys
from pathlib import Path

import numpy as np

from optimizer.screening import predict, screen

ROOT = Path(__file__).parents[2]


def test_the_surrogate_passes_through_what_was_ridden():
    rng = np.random.default_rng(6)
    points, outcomes = rng.random((40, 5)), rng.normal(size=(40, 3))

    np.testing.assert_allclose(predict(points, outcomes, points), outcomes, atol=1e-9)


def test_repeated_points_do_not_break_the_surrogate():
    rng = np.random.default_rng(7)
    points = rng.random((20, 5))
    outcomes = points.sum(axis=1, keepdims=True)
    twice = np.vstack([points, points])

    predicted = predict(twice, np.vstack([outcomes, outcomes]), points)

    np.testing.assert_allclose(predicted, outcomes, atol=1e-9)


def test_points_that_share_a_value_do_not_break_the_surrogate():
    rng = np.random.default_rng(11)
    points = rng.random((40, 5))
    points[:, 2] = 1.0
    outcomes = rng.normal(size=(40, 3))

    np.testing.assert_allclose(predict(points, outcomes, points), outcomes, atol=1e-9)


def test_only_the_latest_points_count():
    rng = np.random.default_rng(8)
    points, pool = rng.random((60, 4)), rng.random((10, 4))
    outcomes = rng.normal(size=(60, 2))

    latest = predict(points, outcomes, pool, n_latest=25)

    np.testing.assert_array_equal(latest, predict(points[-25:], outcomes[-25:], pool))


def test_the_screen_finds_the_good_region_of_a_smooth_problem():
    rng = np.random.default_rng(9)
    points, pool = rng.random((200, 4)), rng.random((400, 4))
    goal = np.array([[0.3] * 4, [0.6] * 4])

    def objectives(rows):
        return np.linalg.norm(rows[:, None] - goal, axis=2)

    chosen = screen(
        pool,
        points=points,
        objectives=objectives(points),
        constraints=np.empty((200, 0)),
        n_chosen=10,
        n_latest=1000,
    )

    assert objectives(pool[chosen]).sum(axis=1).mean() < np.quantile(
        objectives(pool).sum(axis=1), 0.1
    )


def test_the_screen_prefers_children_predicted_to_meet_the_constraints():
    rng = np.random.default_rng(10)
    points, pool = rng.random((300, 3)), rng.random((300, 3))

    chosen = screen(
        pool,
        points=points,
        objectives=points[:, :2],
        constraints=0.5 - points[:, 2:],
        n_chosen=20,
        n_latest=1000,
    )

    assert (pool[chosen, 2] > 0.45).all()


def test_predictions_do_not_depend_on_the_number_of_threads():
    code = (
        "import hashlib, numpy as np\n"
        "from optimizer.screening import predict\n"
        "rng = np.random.default_rng(11)\n"
        "rows = [rng.random((n, 25)) for n in (700, 700, 50)]\n"
        "print(hashlib.sha256(predict(*rows).tobytes()).hexdigest())\n"
    )

    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env={**os.environ, "OPENBLAS_NUM_THREADS": threads, "PYTHONPATH": str(ROOT)},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for threads in ("1", "2")
    }

    assert len(digests) == 1
