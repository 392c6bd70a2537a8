"""Margins and stability against published examples, identities and python-control."""

import control
import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import assume, given

from plant.linear.margins import margins, nyquist_contour
from tests.plant.linear.test_linearised_plant import tutorial_plant

FINE = nyquist_contour(np.geomspace(1e-3, 1e6, 24001), n_arc=51)


def margins_of(system, *, n_open_unstable=0, contour=FINE):
    return margins(contour, np.asarray(system(contour))[None, :], np.array([n_open_unstable]))


def test_published_margins_of_a_third_order_loop_are_found():
    # MathWorks documentation, allmargin: L = 25 / (s^3 + 10 s^2 + 10 s + 10). Ms recomputed.
    found = margins_of(control.tf([25], [1, 10, 10, 10]))

    assert found.gain_up_ratio[0] == pytest.approx(3.6000, abs=1e-4)
    assert found.phase_deg[0] == pytest.approx(29.1104, abs=1e-3)
    assert found.delay_s[0] == pytest.approx(0.2847, abs=1e-4)
    assert found.max_sensitivity[0] == pytest.approx(2.487, abs=1e-3)
    assert found.gain_down_ratio[0] == 0.0
    assert found.stable[0]


def test_the_delay_of_a_crossover_that_leads_turns_the_long_way_round():
    # By hand: |L| = 1 at sqrt(3) rad/s, where L = 2 / (1 - s) is at 60 deg. A delay turns it
    # clockwise by 240 deg to -1, though -1 is 120 deg away the other way.
    found = margins_of(control.tf([2], [-1, 1]), n_open_unstable=1)

    assert found.phase_deg[0] == pytest.approx(120.0, abs=1e-3)
    assert found.delay_s[0] == pytest.approx(np.radians(240.0) / np.sqrt(3.0), rel=1e-4)


def lqr_loop():
    a, b = tutorial_plant()
    gain, _, _ = control.lqr(a, b, np.diag([1, 0, 1, 0]), 1)
    return control.ss(a, b, gain, 0)


def test_lqr_loop_keeps_its_distance_and_has_the_recomputed_margins():
    # Kalman inequality: |1 + L| >= 1. Phase 60.03 deg and lower gain 0.487 by python-control.
    found = margins_of(lqr_loop(), n_open_unstable=1)

    assert found.stable[0]
    assert found.modulus[0] == pytest.approx(1.0, abs=1e-6)
    assert found.phase_deg[0] == pytest.approx(60.03, abs=0.01)
    assert found.gain_down_ratio[0] == pytest.approx(0.487, abs=5e-4)
    assert np.isinf(found.gain_up_ratio[0])


@pytest.mark.parametrize(("share", "n_unstable"), [(0.48, 2), (0.49, 0), (1.0, 0), (50.0, 0)])
def test_unstable_plant_is_stable_only_above_its_lower_gain_margin(share, n_unstable):
    found = margins_of(share * lqr_loop(), n_open_unstable=1)

    assert found.n_unstable[0] == n_unstable


def test_loop_without_gain_keeps_the_unstable_poles_of_the_plant():
    found = margins_of(1e-9 * lqr_loop(), n_open_unstable=1)

    assert found.n_unstable[0] == 1
    assert np.isinf(found.max_sensitivity[0])


roots = st.lists(st.floats(0.2, 30.0), min_size=1, max_size=3)
pairs = st.lists(st.tuples(st.floats(0.5, 20.0), st.floats(0.1, 0.9)), min_size=0, max_size=2)


def random_loop(gain, slow, modes, zero):
    """Return a strictly proper loop with stable poles, and one zero on either side."""
    system = control.tf([1.0 / zero, 1.0], [1.0 / 40.0, 1.0]) * gain
    for pole in slow:
        system = system * control.tf([pole], [1.0, pole])
    for omega, ratio in modes:
        system = system * control.tf([omega**2], [1.0, 2.0 * ratio * omega, omega**2])
    return system


loops = st.builds(
    random_loop,
    gain=st.floats(0.1, 30.0),
    slow=roots,
    modes=pairs,
    zero=st.floats(2.0, 50.0) | st.floats(-50.0, -2.0),
)


@given(loops)
def test_unstable_poles_are_those_of_the_closed_loop(system):
    closed = control.feedback(system, 1).poles()
    # On the limit of stability rounding decides.
    assume(np.abs(closed.real).min() > 1e-3 * np.abs(closed).max())

    assert margins_of(system).n_unstable[0] == np.count_nonzero(closed.real > 0.0)


@given(loops)
def test_margins_of_a_stable_loop_are_those_of_python_control(system):
    closed = control.feedback(system, 1).poles()
    assume(closed.real.max() < -1e-2)
    # Of python-control's margins the nearest of each kind, with every crossing returned.
    gains, phases, moduli, *_ = control.stability_margins(system, returnall=True)

    found = margins_of(system)

    nearest = min((gain for gain in np.atleast_1d(gains) if gain > 1.0), default=np.inf)
    assert found.gain_up_ratio[0] == pytest.approx(nearest, rel=1e-3)
    if np.size(phases):
        wrapped = 180.0 - (180.0 - np.asarray(phases)) % 360.0
        assert found.phase_deg[0] == pytest.approx(np.abs(wrapped).min(), abs=0.05)
    if np.size(moduli):
        assert found.modulus[0] <= np.min(moduli) * (1.0 + 1e-3)
        assert found.modulus[0] == pytest.approx(min(np.min(moduli), abs(1 + system(0))), rel=0.02)


def coarse_contour(system):
    """Return a contour of 180 points, and of points at even angles on each mode's own circle.

    30 points a decade alone do not resolve a mode that is damped by less than a half: a ratio of
    0.125 reads Ms up to 16 % wrong.
    """
    poles = system.poles()
    circle = np.tan(np.radians(np.arange(-87.0, 88.0, 3.0)))
    about = [pole.imag + circle * abs(pole.real) for pole in poles if pole.imag > 0.0]
    grid = np.unique(np.concatenate([np.geomspace(1e-2, 1e4, 180), *about]))
    return nyquist_contour(grid[(grid >= 1e-2) & (grid <= 1e4)], n_arc=15)


@given(loops)
def test_a_coarse_grid_does_not_cut_the_peak_of_the_sensitivity(system):
    # Ms of python-control's 1 / (1 + L) on a grid 70 times as fine.
    closed = control.feedback(system, 1).poles()
    assume(closed.real.max() < -5e-2 * np.abs(closed).max() ** 0.5)
    sensitivity = control.feedback(1, system)(1j * np.geomspace(1e-2, 1e4, 12601))
    peak = np.max(np.abs(sensitivity))

    found = margins_of(system, contour=coarse_contour(system))

    assert found.stable[0]
    assert found.max_sensitivity[0] == pytest.approx(peak, rel=2e-3)


@given(loops)
def test_sensitivity_bounds_gain_and_phase_margins(system):
    # Identity: gain margin >= Ms / (Ms - 1), phase margin >= 2 asin(1 / (2 Ms)).
    found = margins_of(system)
    sensitivity = found.max_sensitivity[0]
    assume(found.stable[0] and sensitivity > 1.001)

    assert found.gain_up_ratio[0] >= sensitivity / (sensitivity - 1.0) * (1.0 - 1e-3)
    assert found.phase_deg[0] >= 2.0 * np.degrees(np.arcsin(0.5 / sensitivity)) - 0.05


@pytest.mark.parametrize(
    ("sensitivity", "gain", "phase"), [(1.4, 3.5, 41.8), (1.6, 2.67, 36.4), (2.0, 2.0, 28.96)]
)
def test_loop_circling_minus_one_at_even_distance_has_the_tabled_margins(sensitivity, gain, phase):
    # Rows of the identity, met with equality by a circle of radius 1/Ms about -1.
    radius = 1.0 / sensitivity
    angle = np.linspace(0.0, 2.0 * np.pi, 40001)[1:-1]
    curve = -1.0 + radius * np.exp(-1j * angle)
    contour = nyquist_contour(np.geomspace(1e-3, 1e3, len(curve)), n_arc=1)

    found = margins(contour, np.append(curve[:1], curve)[None, :], np.array([0]))

    assert found.gain_up_ratio[0] == pytest.approx(gain, abs=5e-3)
    assert found.phase_deg[0] == pytest.approx(phase, abs=0.05)


def test_batched_loops_keep_their_shape_and_do_not_touch_each_other():
    one, other = control.tf([25], [1, 10, 10, 10]), control.tf([120], [1, 10, 10, 10])
    loop = np.stack([one(FINE), other(FINE), one(FINE)])[:, None, :] * np.ones((3, 2, 1))
    before = loop.copy()

    found = margins(FINE, loop, np.zeros(2, dtype=np.int64))

    assert found.modulus.shape == (3, 2)
    np.testing.assert_array_equal(found.n_unstable, [[0, 0], [2, 2], [0, 0]])
    np.testing.assert_array_equal(found.gain_up_ratio[0], found.gain_up_ratio[2])
    np.testing.assert_array_equal(loop, before)
