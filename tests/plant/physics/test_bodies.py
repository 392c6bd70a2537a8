"""The three bodies against equations of motion derived again by Kane's method."""

import numpy as np
import pytest
import sympy
from sympy.physics import mechanics

from plant.physics.bodies import accelerations

GRAVITY = 9.80665


@pytest.fixture(scope="module")
def derived():
    """Return mass matrix and forcing of wheel, board and rider on a slope, as one function.

    The wheel rolls without slip along a slope. Board and rider turn about the axle, their angles
    counted from the vertical, positive forwards. The motor turns the wheel against the board and
    the feet turn the board against the rider.
    """
    s, theta, phi = mechanics.dynamicsymbols("s theta phi")
    v, w, u = mechanics.dynamicsymbols("v w u")
    m_w, m_b, m_r, i_w, i_b, i_r, h_b, h_r, r, g, gamma, tau, feet, drag, tail = sympy.symbols(
        "m_w m_b m_r i_w i_b i_r h_b h_r r g gamma tau feet drag tail"
    )
    # x along the horizontal, z up, y to the left: turning forwards is positive about y.
    ground = mechanics.ReferenceFrame("ground")
    slope = ground.orientnew("slope", "Axis", (-gamma, ground.y))
    board = ground.orientnew("board", "Axis", (theta, ground.y))
    rider = ground.orientnew("rider", "Axis", (phi, ground.y))
    wheel = ground.orientnew("wheel", "Axis", (s / r, ground.y))
    board.set_ang_vel(ground, w * ground.y)
    rider.set_ang_vel(ground, u * ground.y)
    wheel.set_ang_vel(ground, v / r * ground.y)

    origin = mechanics.Point("origin")
    origin.set_vel(ground, 0)
    axle = origin.locatenew("axle", s * slope.x)
    axle.set_vel(ground, v * slope.x)
    masses = {}
    for name, frame, height in (("board", board, h_b), ("rider", rider, h_r)):
        point = axle.locatenew(name, height * frame.z)
        point.v2pt_theory(axle, ground, frame)
        masses[name] = point
    bodies = [
        mechanics.RigidBody("wheel", axle, wheel, m_w, (mechanics.inertia(wheel, 0, i_w, 0), axle)),
        mechanics.RigidBody(
            "board",
            masses["board"],
            board,
            m_b,
            (mechanics.inertia(board, 0, i_b, 0), masses["board"]),
        ),
        mechanics.RigidBody(
            "rider",
            masses["rider"],
            rider,
            m_r,
            (mechanics.inertia(rider, 0, i_r, 0), masses["rider"]),
        ),
    ]
    loads = [(axle, -m_w * g * ground.z - drag * slope.x)]
    loads += [(masses["board"], -m_b * g * ground.z), (masses["rider"], -m_r * g * ground.z)]
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
    arguments = [theta, phi, w, u, m_w, m_b, m_r, i_w, i_b, i_r, h_b, h_r, r, g, gamma]
    arguments += [tau, feet, drag, tail]
    return sympy.lambdify(arguments, [kane.mass_matrix, kane.forcing], "numpy", cse=True)


def random_case(rng):
    """Return a random state, machine, and load."""
    return {
        "angles": rng.uniform(-0.45, 0.45, 2),
        "rates": rng.uniform(-3.0, 3.0, 2),
        "masses": rng.uniform([4.0, 3.0, 30.0], [15.0, 12.0, 120.0]),
        "inertias": rng.uniform([0.02, 0.1, 2.0], [0.3, 1.5, 20.0]),
        "heights": rng.uniform([-0.1, 0.7], [0.2, 1.2]),
        "radius": rng.uniform(0.1, 0.25),
        "grade": rng.uniform(-0.4, 0.4),
        "tau": rng.uniform(-80.0, 80.0),
        "feet": rng.uniform(-150.0, 150.0),
        "drag": rng.uniform(-60.0, 60.0),
        "tail": rng.uniform(0.0, 300.0),
    }


@pytest.mark.parametrize("seed", range(40))
def test_accelerations_meet_kanes_equations(derived, seed):
    case = random_case(np.random.default_rng(seed))
    m_w, m_b, m_r = case["masses"]
    i_w, i_b, i_r = case["inertias"]
    h_b, h_r = case["heights"]
    moving = m_w + m_b + m_r

    mass, forcing = derived(
        *case["angles"], *case["rates"], *case["masses"], *case["inertias"], *case["heights"],
        case["radius"], GRAVITY, case["grade"], case["tau"], case["feet"], case["drag"],
        case["tail"],
    )  # fmt: skip
    found = accelerations(
        case["angles"][0],
        case["rates"][0],
        case["angles"][1],
        case["rates"][1],
        case["grade"],
        GRAVITY,
        moving + i_w / case["radius"] ** 2,
        m_b * h_b,
        1.0 / (i_b + m_b * h_b**2),
        m_r * h_r,
        1.0 / (i_r + m_r * h_r**2),
        case["tau"] / case["radius"] - case["drag"] - moving * GRAVITY * np.sin(case["grade"]),
        case["feet"] + case["tail"] - case["tau"],
        -case["feet"],
    )

    expected = np.linalg.solve(mass, forcing)[:, 0]
    np.testing.assert_allclose(found, expected, rtol=1e-10, atol=1e-10)


def test_an_upright_machine_at_rest_stays_at_rest():
    found = accelerations(
        0.0, 0.0, 0.0, 0.0, 0.0, GRAVITY, 100.0, 0.14, 1.0 / 0.45, 76.0, 1.0 / 100.0, 0.0, 0.0, 0.0
    )

    assert found == (0.0, 0.0, 0.0)


def test_motor_torque_drives_forwards_and_lifts_the_nose_and_feet_press_it_down():
    at_rest = (0.0, 0.0, 0.0, 0.0, 0.0, GRAVITY, 100.0, 0.14, 1.0 / 0.45, 76.0, 1.0 / 100.0)

    accel, nose, _ = accelerations(*at_rest, 10.0 / 0.14, -10.0, 0.0)
    _, pressed, lean = accelerations(*at_rest, 0.0, 10.0, -10.0)

    assert accel > 0.0
    assert nose < 0.0
    assert pressed > 0.0
    assert lean < 0.0
