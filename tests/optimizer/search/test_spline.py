import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RBFInterpolator

from optimizer.search.spline import Kernel, spans, spline

SCIPY_NAMES = {Kernel.LINEAR: "linear", Kernel.THIN_PLATE: "thin_plate_spline"}
SCALES = np.array([1.0, 0.4, 0.15])


def _points(seed, n_points=40):
    rng = np.random.default_rng(seed)
    return rng.random((n_points, 3)), rng


def _outcomes(points):
    return np.column_stack([np.sin(3.0 * points[:, 0]) + points[:, 1], points.prod(axis=1)])


@pytest.mark.parametrize("kernel", Kernel)
@given(seed=st.integers(0, 1000))
def test_splines_are_those_of_scipy(kernel, seed):
    points, rng = _points(seed)
    outcomes, pool = rng.normal(size=(40, 2)), rng.random((20, 3))

    predicted = spline(points, outcomes, kernel=kernel, scales=SCALES)(pool)

    reference = RBFInterpolator(points * SCALES, outcomes, kernel=SCIPY_NAMES[kernel])
    np.testing.assert_allclose(predicted, reference(pool * SCALES), rtol=1e-6, atol=1e-7)


@pytest.mark.parametrize("kernel", Kernel)
def test_the_error_of_a_point_left_out_is_that_of_the_spline_through_the_others(kernel):
    points, _ = _points(1)
    outcomes = _outcomes(points)

    through = spline(points, outcomes, kernel=kernel, scales=SCALES)
    errors = through.left_out()

    for left in (0, 17, 39):
        others = np.delete(np.arange(40), left)
        without = spline(points[others], outcomes[others], kernel=kernel, scales=SCALES)
        wrong = outcomes[left] - without(points[left : left + 1])[0]
        np.testing.assert_allclose(errors[left], wrong, rtol=1e-6, atol=1e-9)


def test_between_two_points_the_deviation_is_that_of_a_brownian_bridge():
    # Of a walk whose increments over h have the variance 2 h: 2 t (h - t) / h, t from one end.
    line = spline(
        np.array([[0.0], [1.0], [1.8]]),
        np.array([[0.0], [1.0], [0.0]]),
        kernel=Kernel.LINEAR,
        scales=np.ones(1),
    )
    at = np.array([[0.25], [0.5], [1.4]])

    predicted, deviation = line.with_deviation(at)

    np.testing.assert_allclose(predicted[:, 0], [0.25, 0.5, 0.5])
    bridge = np.array([2 * 0.25 * 0.75, 0.5, 0.4])
    np.testing.assert_allclose(deviation[:, 0] ** 2, bridge * line.scales * line.variance)


@pytest.mark.parametrize("kernel", Kernel)
def test_the_deviation_is_nothing_at_the_points_and_grows_away_from_them(kernel):
    points, _ = _points(2)
    through = spline(points, _outcomes(points), kernel=kernel, scales=np.ones(3))

    at = through.with_deviation(points)[1]
    away = [through.with_deviation(np.full((1, 3), 1.0 + far))[1] for far in (0.2, 0.5, 1.0)]

    assert at.max() < 1e-3 * away[0].min()
    assert (away[0] < away[1]).all()
    assert (away[1] < away[2]).all()


@pytest.mark.parametrize("kernel", Kernel)
def test_slopes_are_those_of_finite_differences(kernel):
    points, _ = _points(3)
    through = spline(points, _outcomes(points), kernel=kernel, scales=SCALES)

    step = 1e-5
    for parameter in range(3):
        # A linear spline has a kink at its points: the mean of both sides' slopes leaves it out.
        shift = step * np.eye(3)[parameter]
        slope = (through(points + shift) - through(points - shift)) / (2.0 * step)
        steepness = np.sqrt(np.mean(slope**2, axis=0))
        np.testing.assert_allclose(through.slopes()[:, parameter], steepness, rtol=1e-4)


@pytest.mark.parametrize("kernel", Kernel)
def test_a_narrow_cluster_is_followed_as_well_as_a_wide_one(kernel):
    points, rng = _points(6, n_points=200)
    pool, narrow = rng.random((50, 3)), 1e-7

    wide, small = (
        spline(size * points, _outcomes(points), kernel=kernel, scales=SCALES)
        for size in (1.0, narrow)
    )

    for expected, found in zip(
        wide.with_deviation(pool), small.with_deviation(narrow * pool), strict=True
    ):
        np.testing.assert_allclose(found, expected, rtol=1e-5, atol=1e-7)


@pytest.mark.parametrize("kernel", Kernel)
def test_a_point_that_is_nearly_another_one_changes_nothing(kernel):
    points, rng = _points(5)
    pool = rng.random((20, 3))
    near = np.vstack([points, points[7] + 1e-9])

    once, twice = (
        spline(known, _outcomes(known), kernel=kernel, scales=SCALES) for known in (points, near)
    )

    np.testing.assert_allclose(twice(pool), once(pool), atol=0.05)
    assert np.isfinite(twice.left_out()).all()


def test_points_on_a_plane_do_not_span():
    points, _ = _points(4)
    assert spans(points)
    points[:, 1] = 0.5
    assert not spans(points)
