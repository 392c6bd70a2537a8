"""The linearised plant against published pendulum plants and closed forms."""

import dataclasses

import control
import numpy as np
import pytest
import scipy.linalg

from plant.linear.delay_systems import DelayedSystem, first_order, frequency_response, poles
from plant.linear.linearised_plant import STATE_NAMES, linear_ride, small_motion
from plant.linear.margins import nyquist_contour
from tests import invented

RIDERS = ((40.0, 1.49), (62.0, 1.68), (80.0, 1.78), (105.0, 1.83))


def tutorial_plant():
    """University of Michigan control tutorials, inverted pendulum on a cart.

    M 0.5 kg, m 0.2 kg, b 0.1 N s/m, I 0.006 kg m2, l 0.3 m, g 9.8 m/s2. The tutorial counts the
    lean backwards positive; ours, forwards, is turned over here.
    """
    mass, gravity = small_motion(0.7, [0.2 * 0.3], [0.006 + 0.2 * 0.3**2], gravity_mps2=9.8)
    a, b = first_order(mass, np.diag([0.1, 0.0]), -gravity, np.array([[1.0], [0.0]]))
    turn = np.diag([1.0, -1.0, 1.0, -1.0])
    order = [0, 2, 1, 3]  # x, x', phi, phi'
    return (turn @ a @ turn)[np.ix_(order, order)], (turn @ b)[order]


def test_tutorial_plant_has_the_published_matrices():
    a, b = tutorial_plant()

    np.testing.assert_allclose(
        a,
        [[0, 1, 0, 0], [0, -0.1818, 2.6727, 0], [0, 0, 0, 1], [0, -0.4545, 31.1818, 0]],
        atol=5e-5,
    )
    np.testing.assert_allclose(b[:, 0], [0.0, 1.8182, 0.0, 4.5455], atol=5e-5)


def test_tutorial_plant_has_the_published_poles():
    a, _ = tutorial_plant()

    found = np.sort(np.linalg.eigvals(a).real)

    np.testing.assert_allclose(found, [-5.60409, -0.14283, 0.0, 5.56511], atol=1e-5)


@pytest.mark.parametrize(
    ("weights", "published"),
    [
        ([1, 0, 1, 0], [-1.0, -1.6567, 18.6854, 3.4594]),
        ([5000, 0, 100, 0], [-70.7107, -37.8345, 105.5298, 20.9238]),
    ],
)
def test_tutorial_plant_has_the_published_lqr_gains(weights, published):
    a, b = tutorial_plant()

    riccati = scipy.linalg.solve_continuous_are(a, b, np.diag(weights).astype(float), np.eye(1))

    np.testing.assert_allclose((b.T @ riccati)[0], published, atol=6e-5)


@pytest.mark.parametrize(
    ("weights", "published"),
    [
        ([1, 0, 1, 0], [-0.9384, -1.5656, 18.0351, 3.3368]),
        ([5000, 0, 100, 0], [-61.9933, -33.5040, 95.0597, 18.8300]),
    ],
)
def test_tutorial_plant_has_the_published_discrete_lqr_gains(weights, published):
    a, b = tutorial_plant()
    sampled = control.c2d(control.ss(a, b, np.eye(4), 0), 0.01)

    gains, _, _ = control.dlqr(sampled.A, sampled.B, np.diag(weights), np.eye(1))

    np.testing.assert_allclose(np.asarray(gains)[0], published, atol=6e-5)


def test_tutorial_plant_has_the_published_closed_loop_poles():
    # University of Michigan control tutorials, LQR with weights 5000 and 100.
    a, b = tutorial_plant()

    _, _, found = control.lqr(a, b, np.diag([5000.0, 0.0, 100.0, 0.0]), np.eye(1))

    expected = [-8.491 - 7.928j, -8.491 + 7.928j, -4.759 - 0.831j, -4.759 + 0.831j]
    np.testing.assert_allclose(np.sort_complex(found), expected, atol=6e-4)


def test_vendor_example_of_a_cart_pendulum_has_its_published_matrices_and_lqr_gains():
    # MathWorks documentation, lqr example. Its A and B are those of M 2/3 kg, m l 1/15 kg m,
    # J 2/75 kg m2 and g 9 m/s2 (solved for here), the cart's friction acting on both coordinates.
    mass, gravity = small_motion(2.0 / 3.0, [1.0 / 15.0], [2.0 / 75.0], gravity_mps2=9.0)
    friction = np.array([[1.0 / 30.0, 0.0], [-1.0 / 150.0, 0.0]])
    a, b = first_order(mass, friction, -gravity, np.array([[1.0], [0.0]]))
    turn, order = np.diag([1.0, -1.0, 1.0, -1.0]), [0, 2, 1, 3]
    a, b = (turn @ a @ turn)[np.ix_(order, order)], (turn @ b)[order]
    published = [[0, 1, 0, 0], [0, -0.1, 3, 0], [0, 0, 0, 1], [0, -0.5, 30, 0]]
    weights = np.diag([1.0, 0.0, 1.0, 0.0])

    by_control, _, _ = control.lqr(a, b, weights, np.eye(1))
    by_scipy = b.T @ scipy.linalg.solve_continuous_are(a, b, weights, np.eye(1))

    np.testing.assert_allclose(a, published, atol=1e-12)
    np.testing.assert_allclose(b[:, 0], [0.0, 2.0, 0.0, 5.0], atol=1e-12)
    for gains in (np.asarray(by_control)[0], by_scipy[0]):
        np.testing.assert_allclose(gains, [-1.0, -1.7559, 16.9145, 3.2274], atol=6e-5)


def test_balance_system_has_the_textbook_poles_and_zeros():
    # Astrom & Murray, Feedback Systems, balance system: M 10, m 80, J 100, l 1, g 9.8, undamped
    # (values from memory, recomputed: poles +-2.683, zeros of position over force +-2.087).
    mass, gravity = small_motion(90.0, [80.0], [180.0], gravity_mps2=9.8)
    a, b = first_order(mass, np.zeros((2, 2)), -gravity, np.array([[1.0], [0.0]]))

    position = control.ss(a, b, [[1.0, 0.0, 0.0, 0.0]], 0)

    np.testing.assert_allclose(np.sort(position.poles().real)[[0, -1]], [-2.683, 2.683], atol=1e-3)
    np.testing.assert_allclose(np.sort(position.zeros().real), [-2.087, 2.087], atol=1e-3)


def without_reflex(system):
    return dataclasses.replace(system, a_delayed=np.zeros_like(system.a_delayed))


@pytest.mark.parametrize(("mass_kg", "stature_m"), RIDERS)
def test_passive_rider_falls_at_the_analytic_rate(mass_kg, stature_m):
    # Closed form: pole^2 = m g l M / (M (I + m l^2) - (m l)^2), M all that translates.
    board = invented.board()
    level_frame = dataclasses.replace(board.frame, frame_com_height_m=0.0)
    board = dataclasses.replace(board, frame=level_frame)
    rider = invented.rider(mass_kg, stature_m, leg_stiffness_ratio=0.0, leg_damping_s=0.0)
    rider = dataclasses.replace(rider, body=dataclasses.replace(rider.body, deck_height_m=0.0))
    lever = rider.com_above_ankle_m
    moving = mass_kg + 9.0 + 7.0 + 0.09 / 0.14**2
    inertia = rider.inertia_kg_m2 + mass_kg * lever**2
    rate = np.sqrt(mass_kg * 9.80665 * lever * moving / (moving * inertia - (mass_kg * lever) ** 2))

    (found,) = poles(without_reflex(linear_ride(board, [rider], speeds_mps=[0.0])))

    assert found.real.max() == pytest.approx(rate, rel=1e-9)


def test_linear_bodies_are_the_derivative_of_the_nonlinear_ones():
    board, rider = invented.board(), invented.rider(80.0, 1.78)
    system = linear_ride(board, [rider], speeds_mps=[0.0])
    skill, mgh = rider.skill, 80.0 * 9.80665 * rider.com_above_ankle_m
    torque = np.sqrt(3.0) / 2.0 * 60.0 / (2.0 * np.pi * 15.0)

    def rates(state, current):
        _, pitch, lean, pitch_rate, lean_rate, foot, rest = state[:7]
        legs = mgh * (
            skill.leg_stiffness_ratio * (lean - (pitch - rest))
            + skill.leg_damping_s * (lean_rate - pitch_rate)
        )
        return accelerations_at(
            pitch,
            pitch_rate,
            lean,
            lean_rate,
            force=torque * current / 0.14,
            frame_moment=foot + legs - torque * current,
            rider_moment=-foot - legs,
        )

    def accelerations_at(pitch, pitch_rate, lean, lean_rate, *, force, frame_moment, rider_moment):
        """Lagrange's equations of the three bodies on the level, solved as a 3 x 3 system."""
        rider_mh, ankle_mh, ankle = 80.0 * rider.com_above_ankle_m, 80.0 * 0.03, 0.03
        frame_mh = 7.0 * 0.02 + ankle_mh
        together = rider_mh * ankle * np.cos(pitch - lean)
        twist = rider_mh * ankle * np.sin(pitch - lean)
        mass = np.array(
            [
                [
                    9.0 + 7.0 + 80.0 + 0.09 / 0.14**2,
                    frame_mh * np.cos(pitch),
                    rider_mh * np.cos(lean),
                ],
                [
                    frame_mh * np.cos(pitch),
                    0.45 + 7.0 * 0.02**2 + ankle_mh * ankle,
                    together,
                ],
                [
                    rider_mh * np.cos(lean),
                    together,
                    rider.inertia_kg_m2 + rider_mh * rider.com_above_ankle_m,
                ],
            ]
        )
        moments = [
            force
            + frame_mh * pitch_rate**2 * np.sin(pitch)
            + rider_mh * lean_rate**2 * np.sin(lean),
            frame_mh * 9.80665 * np.sin(pitch) - twist * lean_rate**2 + frame_moment,
            rider_mh * 9.80665 * np.sin(lean) + twist * pitch_rate**2 + rider_moment,
        ]
        accel, pitch_accel, lean_accel = np.linalg.solve(mass, moments)
        return np.array([accel, pitch_rate, lean_rate, pitch_accel, lean_accel])

    steps = 1e-5 * np.eye(len(STATE_NAMES))
    zero = np.zeros(len(STATE_NAMES))
    by_state = [(rates(step, 0.0) - rates(-step, 0.0)) / 2e-5 for step in steps]
    by_current = (rates(zero, 1e-3) - rates(zero, -1e-3)) / 2e-3

    np.testing.assert_allclose(system.a[0, :5], np.transpose(by_state), rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(system.b[0, :5], by_current, rtol=1e-6)


def delayed_pendulum(delay_s, position_gain, rate_gain):
    """Return x'' = w^2 x - (gain x + rate gain x') a delay ago, w 3.04 rad/s."""
    return DelayedSystem(
        a=np.array([[[0.0, 1.0], [3.04**2, 0.0]]]),
        a_delayed=np.array([[[0.0, 0.0], [-position_gain, -rate_gain]]]),
        b=np.array([[0.0, 1.0]]),
        c=np.array([[[1.0, 0.0]]]),
        d=np.array([[0.0]]),
        delay_s=np.array([delay_s]),
    )


def can_be_stabilised(delay_s):
    """Search gains about the triple root at zero, where the last stable gains are found."""
    square = 3.04**2
    for position in np.linspace(1.0001, 1.15, 40):
        for rate in np.linspace(0.8, 1.3, 60):
            system = delayed_pendulum(delay_s, square * position, square * rate * delay_s)
            if poles(system)[0].real.max() < 0.0:
                return True
    return False


def test_delayed_balance_is_possible_below_the_critical_delay_and_not_above():
    # Stepan 2009 and Milton 2009: delayed PD on x'' = w^2 x needs delay < sqrt(2) / w = 0.465 s.
    assert can_be_stabilised(0.95 * 0.4652)
    assert not can_be_stabilised(1.02 * 0.4652)


@pytest.mark.parametrize(("mass_kg", "stature_m"), RIDERS)
def test_slow_poles_solve_the_characteristic_equation_with_the_exact_delay(mass_kg, stature_m):
    system = linear_ride(invented.board(), [invented.rider(mass_kg, stature_m)])
    slow = [pole for pole in poles(system)[0] if abs(pole) < 12.0]

    for pole in slow:
        matrix = system.a[0] + system.a_delayed[0] * np.exp(-pole * system.delay_s[0])
        nearest = np.abs(np.linalg.eigvals(matrix) - pole).min()
        assert nearest < 1e-4
    assert len(slow) >= 4


@pytest.mark.parametrize("skill", [{}, {"lean_rate_gain_s": 0.15}, {"lean_gain_ratio": 0.6}])
@pytest.mark.parametrize(("mass_kg", "stature_m"), RIDERS)
def test_unstable_poles_agree_with_the_argument_principle(mass_kg, stature_m, skill):
    system = linear_ride(invented.board(), [invented.rider(mass_kg, stature_m, **skill)])
    s = nyquist_contour(np.geomspace(0.05, 3000.0, 30000), n_arc=500)

    # The determinant grows as s^n: a quarter turn for each of n poles, half a turn less for each
    # pole inside the contour.
    n_states = len(STATE_NAMES)
    lag = np.exp(-s * system.delay_s[0])[:, None, None]
    matrix = s[:, None, None] * np.eye(n_states) - system.a[0] - system.a_delayed[0] * lag
    determinant = np.linalg.det(matrix)
    turned = np.angle(determinant[1:] / determinant[:-1]).sum()
    inside = (n_states * np.pi / 2 - turned) / np.pi

    found = poles(system)[0]
    count = np.count_nonzero((found.real > 0.0) & (np.abs(found) > 0.05))
    assert count == round(inside)
    assert inside == pytest.approx(round(inside), abs=0.05)


def test_frequency_response_is_that_of_python_control_without_delay():
    rider = invented.rider(80.0, 1.78, reflex_delay_s=0.0)
    system = linear_ride(invented.board(), [rider])
    frequency = np.geomspace(0.1, 1000.0, 30)

    reference = control.ss(
        system.a[0] + system.a_delayed[0], system.b[0][:, None], system.c[0], system.d[0][:, None]
    )

    np.testing.assert_allclose(
        frequency_response(system, 1j * frequency)[0],
        reference(1j * frequency)[:, 0, :],
        rtol=1e-9,
    )


def test_air_drag_slope_is_twice_the_drag_over_the_speed():
    still, moving = (
        linear_ride(invented.board(), [invented.rider(80.0, 1.78)], speeds_mps=[speed])
        for speed in (0.0, 6.0)
    )

    # The force behind the accelerations: M s'' + m h theta'' + m h phi''.
    rider = invented.rider(80.0, 1.78)
    row = np.array(
        [
            9.0 + 7.0 + 80.0 + 0.09 / 0.14**2,
            7.0 * 0.02 + 80.0 * 0.03,
            80.0 * rider.com_above_ankle_m,
        ]
    )
    force = row @ (moving.a - still.a)[0][[0, 3, 4], 0]
    assert force == pytest.approx(-2.0 * (0.5 * 1.225 * 0.5 * 6.0**2) / 6.0, rel=1e-9)
