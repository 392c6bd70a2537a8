"""Who can hold the tail down against a braking motor, at rest: moments over the board's angle."""

import dataclasses

import numpy as np

from plant.arrays import Floats
from plant.compile import entry
from plant.constants import GRAVITY_MPS2
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.rider import Rider
from plant.kernel.lane_init import saturation_of, torque_per_amp
from plant.physics.control import stiffness_current
from plant.physics.saturation import unsaturated

_stiffness_current = entry(stiffness_current)
_unsaturated = entry(unsaturated)


def motor_moment_nm(profile: Profile, board: Board, nose_up_deg: Floats) -> Floats:
    """Return the moment with which the motor brings the nose down again, (angle,), in N m.

    Stiffness while braking, inside the braking cap and the drive's limit; the integral would add
    its clamp.

    Parameters
    ----------
    profile : Profile
    board : Board
    nose_up_deg : (angle,) float64
        Pitch above the wanted level, from zero up.
    """
    curve = dataclasses.asdict(profile.stiffness)
    current = np.array([_stiffness_current(error, *curve.values()) for error in nose_up_deg])
    current *= profile.braking.braking_stiffness_ratio
    most = min(profile.braking.braking_current_cap_a, board.drive.phase_current_limit_a)
    curve_of_iron = saturation_of(board.motor)
    linear = np.array([_unsaturated(amps, *curve_of_iron) for amps in np.minimum(current, most)])
    moment: Floats = linear * torque_per_amp(board.motor.kv_rpm_per_v)
    return moment


def press_limit_nm(rider: Rider) -> float:
    """Return the largest moment with which a rider presses the tail, in N m.

    All weight on the rear foot, as far back as the feet can use their stance.
    """
    return (
        rider.body.mass_kg * GRAVITY_MPS2 * 0.5 * rider.body.stance_m * rider.skill.foot_use_ratio
    )


def tail_hold_ratio(profile: Profile, board: Board, rider: Rider) -> float:
    """Return the share of what a rider can press that holds the tail at its contact; above 1: none.

    The tail is down when the board is pitched to its contact angle, on the level.
    """
    contact = np.array([board.frame.tail_contact_deg])
    return float(motor_moment_nm(profile, board, contact)[0]) / press_limit_nm(rider)
