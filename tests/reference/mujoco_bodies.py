"""The same three bodies in MuJoCo, a general physics engine.

The world is turned so that x runs along the slope; gravity leans back by the grade instead. Hinge
angles count from the slope's normal.
"""

import math
from collections.abc import Mapping

import mujoco

_XML = """
<mujoco>
  <compiler angle="radian"/>
  <option timestep="{step_s}" integrator="Euler" gravity="{along} 0 {across}">
    <flag contact="disable" eulerdamp="disable"/>
  </option>
  <worldbody>
    <body name="wheel">
      <joint name="distance" type="slide" axis="1 0 0" armature="{rim_kg}"/>
      <inertial pos="0 0 0" mass="{wheel_mass_kg}" diaginertia="1 1 1"/>
      <body name="board">
        <joint name="pitch" type="hinge" axis="0 1 0"/>
        <inertial pos="0 0 {board_height_m}" mass="{frame_mass_kg}" diaginertia="1 {board_i} 1"/>
      </body>
      <body name="rider">
        <joint name="lean" type="hinge" axis="0 1 0"/>
        <inertial pos="0 0 {rider_height_m}" mass="{mass_kg}" diaginertia="{rider_box}"/>
      </body>
    </body>
  </worldbody>
</mujoco>
"""


def three_bodies(
    constant: Mapping[str, float], *, grade_rad: float, gravity_mps2: float, step_s: float
) -> mujoco.MjModel:
    """Return wheel, board and rider as a MuJoCo model.

    Parameters
    ----------
    constant : mapping
        The constants of a lane by their row names.
    grade_rad : float
        Grade of the slope.
    gravity_mps2 : float
        Acceleration of gravity.
    step_s : float
        Time step; MuJoCo's Euler is semi-implicit as well.
    """
    board_height = constant["frame_mh_kg_m"] / constant["frame_mass_kg"]
    rider_height = constant["rider_mh_kg_m"] / constant["mass_kg"]
    rider_i = constant["rider_j_kg_m2"] - constant["mass_kg"] * rider_height**2
    return mujoco.MjModel.from_xml_string(
        _XML.format(
            step_s=step_s,
            along=-gravity_mps2 * math.sin(grade_rad),
            across=-gravity_mps2 * math.cos(grade_rad),
            rim_kg=constant["rolling_mass_kg"] - constant["moving_mass_kg"],
            wheel_mass_kg=constant["wheel_mass_kg"],
            frame_mass_kg=constant["frame_mass_kg"],
            board_height_m=board_height,
            board_i=constant["frame_j_kg_m2"] - constant["frame_mass_kg"] * board_height**2,
            mass_kg=constant["mass_kg"],
            rider_height_m=rider_height,
            rider_box=f"{rider_i} {rider_i} {rider_i}",
        )
    )
