import numpy as np
import pytest
from scipy.stats import t as student

from optimizer.ridelog.fits.cauchy_loss import Loss
from optimizer.ridelog.fits.profile_likelihood import profile_ends

# Biochemical oxygen demand in mg/l after days: Bates & Watts 1988, Nonlinear Regression Analysis,
# appendix A1.4 (R's data set BOD); demand = most * (1 - exp(-rate * day)).
DAY = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 7.0])
DEMAND = np.array([8.3, 10.3, 19.0, 16.0, 15.6, 19.8])
NO_OUTLIERS = 1e4  # a scale at which Cauchy's loss is that of least squares


def short_of(unknown):
    return DEMAND - unknown[0] * (1.0 - np.exp(-unknown[1] * DAY))


def loss_of(residuals, low, high):
    return Loss(residuals=residuals, scale=NO_OUTLIERS, low=np.array(low), high=np.array(high))


# Least at 1, where both rows vanish, with another valley near -1.
TWO_VALLEYS = loss_of(
    lambda unknown: np.array([10.0 * (unknown[0] ** 2 - 1.0), 3.0 * (unknown[0] - 1.0)]),
    [-3.0],
    [3.0],
)


@pytest.fixture
def oxygen():
    """Return the loss, its least place, half of the linear 95 % intervals, and the curvature."""
    loss = loss_of(short_of, [0.0, 1e-3], [200.0, 50.0])
    value = loss.least(np.array([19.0, 0.5]), free=[0, 1])
    gone = np.exp(-value[1] * DAY)
    slopes = np.column_stack([gone - 1.0, -value[0] * DAY * gone])
    curvature = slopes.T @ slopes
    spread = np.sqrt(np.sum(short_of(value) ** 2) / 4.0 * np.diag(np.linalg.inv(curvature)))
    return loss, value, student.ppf(0.975, 4) * spread, curvature


def test_the_least_squares_fit_is_the_published_one(oxygen):
    _, value, _, _ = oxygen

    assert value == pytest.approx([19.143, 0.5311], rel=1e-3)


def test_profile_intervals_are_those_of_a_scan_of_the_sum_of_squares(oxygen):
    loss, value, half, curvature = oxygen
    least = np.sum(short_of(value) ** 2)
    allowed = least * (1.0 + student.ppf(0.975, 4) ** 2 / 4.0)
    most, rate = np.linspace(10.0, 60.0, 1001), np.linspace(0.02, 4.0, 1001)
    shape = 1.0 - np.exp(-rate[:, None] * DAY)
    left = np.sum((DEMAND - most[:, None, None] * shape) ** 2, axis=2)
    held_most = most[np.min(left, axis=1) <= allowed]
    held_rate = rate[np.min(left, axis=0) <= allowed]

    ends = profile_ends(loss, value, half, curvature)

    assert ends.profiled.all()
    assert ends.low == pytest.approx([held_most[0], held_rate[0]], rel=0.05)
    assert ends.high == pytest.approx([held_most[-1], held_rate[-1]], rel=0.05)


def test_a_parabola_keeps_the_linear_interval():
    loss = loss_of(lambda unknown: DEMAND - unknown[0] * DAY, [-9.0], [9.0])
    value = loss.least(np.array([1.0]), free=[0])

    ends = profile_ends(loss, value, np.array([0.5]), np.array([[DAY @ DAY]]))

    assert not ends.profiled.any()
    assert ends.high - ends.low == pytest.approx([1.0])


def test_a_number_that_does_not_matter_on_one_side_has_its_bound_as_end():
    # A knee beyond the data: nothing tells how far beyond.
    x = np.linspace(0.0, 3.0, 300)
    loss = loss_of(lambda unknown: 0.3 * (x - np.minimum(x, unknown[0])), [0.5], [20.0])

    ends = profile_ends(loss, np.array([2.95]), np.array([0.1]), np.array([[9.0]]))

    assert ends.high[0] == 20.0
    assert 2.0 < ends.low[0] < 2.9


def test_a_lower_place_that_is_met_on_the_way_is_told():
    loss = TWO_VALLEYS

    ends = profile_ends(loss, np.array([-0.97]), np.array([2.0]), np.array([[400.0]]))

    assert ends.better is not None
    assert loss(ends.better) < loss(np.array([-0.97]))


def test_an_interval_that_is_searched_past_a_lower_place_holds_it():
    value = np.array([-0.97])

    ends = profile_ends(TWO_VALLEYS, value, np.array([2.0]), np.array([[400.0]]), past_better=True)

    assert ends.better is not None
    assert ends.low[0] < value[0] < 1.0 < ends.high[0]
    scan = np.linspace(-3.0, 3.0, 6001)
    held = [TWO_VALLEYS(np.array([x])) - TWO_VALLEYS(value) <= 2.0**2 * 400.0 for x in scan]
    assert ends.high[0] == pytest.approx(scan[held][-1], rel=0.02)
    assert ends.low[0] == pytest.approx(scan[held][0], rel=0.02)
