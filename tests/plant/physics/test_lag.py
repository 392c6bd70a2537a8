"""Lags of one step against scipy, and the delay of the loop against its own definition."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import cont2discrete

from plant.constants import DT_S
from plant.physics.lag import lag_behind_ramp, lag_share, mean_share
from plant.physics.loop_delay import command_shares, commanded_current

TIMES_S = [0.0003, 0.001, 0.002, 0.03]


@pytest.mark.parametrize("time_s", TIMES_S)
def test_lag_behind_a_ramp_is_scipys_triangle_hold(time_s):
    # y' = (u - y) / T by cont2discrete(method="foh"), whose state is y less its direct part of u.
    one = np.ones((1, 1))
    lag = (-one / time_s, one / time_s, one, 0.0 * one)
    a, b, c, d, _ = cont2discrete(lag, DT_S, method="foh")
    start, value, end = 0.7, -0.4, 1.9

    found = lag_behind_ramp(
        value, start, end, lag_share(DT_S, time_s), 1.0 - mean_share(DT_S, time_s)
    )

    state = (value - d[0, 0] * start) / c[0, 0]
    after = c[0, 0] * (a[0, 0] * state + b[0, 0] * start) + d[0, 0] * end
    assert found == pytest.approx(after, rel=1e-12)


@pytest.mark.parametrize("time_s", TIMES_S)
def test_mean_share_is_the_mean_of_the_decay(time_s):
    whole, _ = quad(lambda at_s: np.exp(-at_s / time_s), 0.0, DT_S)

    assert mean_share(DT_S, time_s) == pytest.approx(whole / DT_S, rel=1e-10)


@pytest.mark.parametrize("delay_s", [0.0005, 0.0008, 0.0015, 0.0019, 0.0025])
def test_commanded_current_is_the_mean_of_commands_that_arrive_late_and_are_held(delay_s):
    wanted = {0: 3.0, -1: -5.0, -2: 11.0}  # A, by the step in which they were sensed
    late_steps = delay_s / DT_S - 0.5
    within = (np.arange(100000) + 0.5) / 100000
    acting = np.floor(within - late_steps + 1e-9)

    found = commanded_current(wanted[0], wanted[-1], wanted[-2], *command_shares(delay_s))

    held = np.select([acting == 0.0, acting == -1.0], [wanted[0], wanted[-1]], wanted[-2])
    assert found == pytest.approx(held.mean(), abs=1e-3)
