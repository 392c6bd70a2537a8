"""The same three bodies in MuJoCo, a general physics engine.

The world is turned so that x runs along the slope; gravity leans back by the grade instead. The
board's hinge angle counts from the slope's normal, the rider's from the board.
"""

import math
from collections.abc import Mapping

import mujoco

_XML = """
<mujoco>
  <compiler angle="radian"/>
  <option timestep="{step_s}" integrator="Euler" gravity="0 0 0">
    <flag contact="disable" eulerdamp="disable"/>
  </option>
  <worldbody>
    <body name="wheel">
      <joint name="distance" type="slide" axis="1 0 0" armature="{rim_kg}"/>
      <inertial pos="0 0 0" mass="{wheel_mass_kg}" diaginertia="1 1 1"/>
      <body name="board">
        <joint name="pitch" type="hinge" axis="0 1 0"/>
        <inertial pos="0 0 {board_height_m}" mass="{frame_mass_kg}" diaginertia="1 {board_i} 1"/>
        <body name="rider" pos="0 0 {ankle_height_m}">
          <joint name="lean" type="hinge" axis="0 1 0"/>
          <inertial pos="0 0 {rider_height_m}" mass="{mass_kg}" diaginertia="{rider_box}"/>
        </body>
      </body>
    </body>
  </worldbody>
</mujoco>
"""


def three_bodies(constant: Mapping[str, float], *, step_s: float) -> mujoco.MjModel:
    """Return wheel, board and rider as a MuJoCo model, without gravity.

    Parameters
    ----------
    constant : mapping
        The constants of a lane by their row names.
    step_s : float
        Time step; MuJoCo's Euler is semi-implicit as well.
    """
    rider_height = constant["rider_mh_kg_m"] / constant["mass_kg"]
    rider_i = constant["rider_j_kg_m2"] - constant["mass_kg"] * rider_height**2
    return mujoco.MjModel.from_xml_string(
        _XML.format(
            step_s=step_s,
            rim_kg=constant["rolling_mass_kg"] - constant["moving_mass_kg"],
            wheel_mass_kg=constant["wheel_mass_kg"],
            frame_mass_kg=constant["frame_mass_kg"],
            board_height_m=constant["frame_com_height_m"],
            board_i=constant["frame_inertia_kg_m2"],
            ankle_height_m=constant["deck_height_m"],
            mass_kg=constant["mass_kg"],
            rider_height_m=rider_height,
            rider_box=f"{rider_i} {rider_i} {rider_i}",
        )
    )


def lean_back(model: mujoco.MjModel, *, grade_rad: float, gravity_mps2: float) -> None:
    """Turn gravity as it acts on a slope, in place."""
    model.opt.gravity[:] = (
        -gravity_mps2 * math.sin(grade_rad),
        0.0,
        -gravity_mps2 * math.cos(grade_rad),
    )
