"""The three bodies against equations of motion derived again by Kane's method."""

import numpy as np
import pytest
import sympy
from sympy.physics import mechanics

from plant.physics.bodies import accelerations

GRAVITY = 9.80665
# Angles and rates, grade, gravity, what presses; then a machine.
MACHINE = (100.0, 6.54, 1.0 / 0.96, 76.0, 1.0 / 83.0, 0.08)
AT_REST = (0.0, 0.0, 0.0, 0.0, 0.0, GRAVITY, 0.0, 0.0, *MACHINE)


@pytest.fixture(scope="module")
def derived():
    """Return mass matrix and forcing of wheel, board and rider on a road, as one function.

    The wheel rolls without slip along a road of a grade and a curvature. The board turns about the
    axle, the rider about the ankles on the board, their angles counted from the vertical, positive
    forwards. The motor turns the wheel against the board and the feet turn the board against the
    rider. Tyre and legs give way: the axle bounces with one acceleration along the road's normal
    and the rider's mass with another, which load board and rider by d'Alembert's forces.
    """
    s, theta, phi = mechanics.dynamicsymbols("s theta phi")
    v, w, u = mechanics.dynamicsymbols("v w u")
    gamma = mechanics.dynamicsymbols("gamma")
    bounce_accel, rider_accel = sympy.symbols("bounce_accel rider_accel")
    m_w, m_b, m_r, i_w, i_b, i_r, h_b, h_r, d, r, g = sympy.symbols(
        "m_w m_b m_r i_w i_b i_r h_b h_r d r g"
    )
    tau, feet, drag, tail, curvature = sympy.symbols("tau feet drag tail curvature")
    # x along the horizontal, z up, y to the left: turning forwards is positive about y.
    ground = mechanics.ReferenceFrame("ground")
    slope = ground.orientnew("slope", "Axis", (-gamma, ground.y))
    board = ground.orientnew("board", "Axis", (theta, ground.y))
    rider = ground.orientnew("rider", "Axis", (phi, ground.y))
    wheel = ground.orientnew("wheel", "Axis", (s / r, ground.y))
    slope.set_ang_vel(ground, -curvature * v * ground.y)
    board.set_ang_vel(ground, w * ground.y)
    rider.set_ang_vel(ground, u * ground.y)
    wheel.set_ang_vel(ground, v / r * ground.y)

    axle, of_board, of_rider = (mechanics.Point(name) for name in ("axle", "board", "rider"))
    moved = v * slope.x
    axle.set_vel(ground, moved)
    of_board.set_vel(ground, moved + h_b * w * board.x)
    of_rider.set_vel(ground, moved + d * w * board.x + h_r * u * rider.x)

    def body(name, point, frame, mass, inertia):
        about = (mechanics.inertia(frame, 0, inertia, 0), point)
        return mechanics.RigidBody(name, point, frame, mass, about)

    bodies = [
        body("wheel", axle, wheel, m_w, i_w),
        body("board", of_board, board, m_b, i_b),
        body("rider", of_rider, rider, m_r, i_r),
    ]
    loads = [(axle, -m_w * g * ground.z - drag * slope.x)]
    loads += [(of_board, -m_b * g * ground.z), (of_rider, -m_r * g * ground.z)]
    loads += [(of_board, -m_b * bounce_accel * slope.z), (of_rider, -m_r * rider_accel * slope.z)]
    loads += [
        (wheel, tau * ground.y),
        (board, (feet + tail - tau) * ground.y),
        (rider, -feet * ground.y),
    ]
    kane = mechanics.KanesMethod(
        ground,
        q_ind=[s, theta, phi],
        u_ind=[v, w, u],
        kd_eqs=[v - s.diff(), w - theta.diff(), u - phi.diff()],
    )
    kane.kanes_equations(bodies, loads)
    grade = sympy.symbols("grade")
    forcing = kane.forcing.subs(gamma.diff(), curvature * v).subs(gamma, grade)
    mass = kane.mass_matrix.subs(gamma, grade)
    arguments = [theta, phi, v, w, u, m_w, m_b, m_r, i_w, i_b, i_r, h_b, h_r, d, r, g, grade]
    arguments += [tau, feet, drag, tail, curvature, bounce_accel, rider_accel]
    return sympy.lambdify(arguments, [mass, forcing], "numpy", cse=True)


def random_case(rng):
    """Return a random state, machine, and load."""
    return {
        "angles": rng.uniform(-0.45, 0.45, 2),
        "rates": rng.uniform([0.0, -3.0, -3.0], [12.0, 3.0, 3.0]),
        "masses": rng.uniform([4.0, 3.0, 30.0], [15.0, 12.0, 120.0]),
        "inertias": rng.uniform([0.02, 0.1, 2.0], [0.3, 1.5, 20.0]),
        "heights": rng.uniform([-0.1, 0.7, -0.1], [0.2, 1.2, 0.2]),
        "radius": rng.uniform(0.1, 0.25),
        "grade": rng.uniform(-0.4, 0.4),
        "tau": rng.uniform(-80.0, 80.0),
        "feet": rng.uniform(-150.0, 150.0),
        "drag": rng.uniform(-60.0, 60.0),
        "tail": rng.uniform(0.0, 300.0),
        "curvature": rng.uniform(-0.2, 0.2),
        "bounce": rng.uniform(-60.0, 60.0),
        "rider_bounce": rng.uniform(-60.0, 60.0),
    }


@pytest.mark.parametrize("seed", range(40))
def test_accelerations_meet_kanes_equations(derived, seed):
    case = random_case(np.random.default_rng(seed))
    m_w, m_b, m_r = case["masses"]
    i_w, i_b, i_r = case["inertias"]
    h_b, h_r, ankle = case["heights"]
    curved = case["rates"][0] ** 2 * case["curvature"]
    moving = m_w + m_b + m_r

    mass, forcing = derived(
        *case["angles"], *case["rates"], *case["masses"], *case["inertias"], *case["heights"],
        case["radius"], GRAVITY, case["grade"], case["tau"], case["feet"], case["drag"],
        case["tail"], case["curvature"], case["bounce"], case["rider_bounce"],
    )  # fmt: skip
    found = accelerations(
        case["angles"][0],
        case["rates"][1],
        case["angles"][1],
        case["rates"][2],
        case["grade"],
        GRAVITY,
        m_b * h_b * (curved + case["bounce"]) + m_r * ankle * (curved + case["rider_bounce"]),
        m_r * h_r * (curved + case["rider_bounce"]),
        moving + i_w / case["radius"] ** 2,
        m_b * h_b + m_r * ankle,
        1.0 / (i_b + m_b * h_b**2 + m_r * ankle**2),
        m_r * h_r,
        1.0 / (i_r + m_r * h_r**2),
        ankle,
        case["tau"] / case["radius"] - case["drag"] - moving * GRAVITY * np.sin(case["grade"]),
        case["feet"] + case["tail"] - case["tau"],
        -case["feet"],
    )

    expected = np.linalg.solve(mass, forcing)[:, 0]
    np.testing.assert_allclose(found, expected, rtol=1e-10, atol=1e-10)


def test_an_upright_machine_at_rest_stays_at_rest():
    found = accelerations(*AT_REST, 0.0, 0.0, 0.0)

    assert found == (0.0, 0.0, 0.0)


def test_motor_torque_drives_forwards_and_lifts_the_nose_and_feet_press_it_down():
    accel, nose, _ = accelerations(*AT_REST, 10.0 / 0.14, -10.0, 0.0)
    _, pressed, lean = accelerations(*AT_REST, 0.0, 10.0, -10.0)

    assert accel > 0.0
    assert nose < 0.0
    assert pressed > 0.0
    assert lean < 0.0
