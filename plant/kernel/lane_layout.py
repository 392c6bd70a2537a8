"""Where each number of a lane lives in a block's buffer.

A block is `WIDTH` lanes side by side in one flat float64 buffer, and `R.name + k` is the place of
`name` in the k-th lane. One buffer with constant offsets is what lets the compiler see that no
two rows overlap and turn the lane loops into packed instructions.
"""

import enum
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.description.board import Board
from plant.description.cells import CELL_INTERVALS
from plant.description.profile_array import PROFILE_NAMES
from plant.description.quantity import declared_numbers
from plant.description.rider import Rider
from plant.kernel.metrics import ACCUMULATOR_NAMES

Block: TypeAlias = NDArray[np.float64]

WIDTH = 8
RING_SLOTS = 64
RING_STEPS = 4  # the reflex is delayed in slots of 4 ms, up to 252 ms


BOARD_NAMES = tuple(declared_numbers(Board))
RIDER_NAMES = tuple(declared_numbers(Rider))

# Constants of a lane that follow from board, rider and course (`lane_init` fills them).
DERIVED_NAMES = (
    "noise_key_low",
    "noise_key_high",
    "torque_per_amp_nm",
    "emf_per_radps_v",
    "taper_start_v",
    "saturation_per_square_a",
    "saturation_end_a",
    *(f"rest_{point}_v" for point in range(CELL_INTERVALS + 1)),
    "rider_mh_kg_m",
    "rider_j_kg_m2",
    "frame_mh_kg_m",
    "frame_j_kg_m2",
    "moving_mass_kg",
    "rolling_mass_kg",
    "rider_mgh_nm",
    "deck_mass_kg",
    "leg_stiffness_n_per_m",
    "leg_damping_n_s_per_m",
    "half_stance_m",
    "nose_contact_rad",
    "tail_contact_rad",
    "step_off_lean_rad",
    "flex_rad_per_nm",
    "flex_angle_by_angle",
    "flex_angle_by_rate",
    "flex_rate_by_angle",
    "flex_rate_by_rate",
    "counts_per_rad",
    "tracking_gain_per_s",
    "tracking_gain_per_s2",
    "gyro_share",
    "turn_felt_ratio",
    "gyro_ramp_share",
    "level_error_rad",
    "smoothing_share",
    "foot_share",
    "current_share",
    "current_mean_share",
    "command_share_now",
    "command_share_was",
    "command_share_before",
    "reflex_delay_slots",
    "ask_accel_mps2",
    "ask_braking_mps2",
    "air_density_kg_m3",
    "start_tail_rad",
    # Reciprocals, taken once: a division costs as much as ten multiplications.
    "per_radius_m",
    "per_nose_contact",
    "per_standing_limit",
    "per_torque_per_amp",
    "per_frame_j",
    "per_rider_j",
    "per_deck_mass",
    "per_rider_mass",
    "per_rim_mass",
    "per_phase_limit",
    "per_counts_per_rad",
    "per_attitude_time",
    "per_rc_time",
    "per_taper_v",
    "per_charge",
    "per_mosfet_heat_capacity",
    "per_mosfet_resistance",
    "per_winding_heat_capacity",
    "per_winding_resistance",
)

# Constants of a lane that follow from its profile (`lane_init` fills them).
TUNED_NAMES = (
    "rate_share",
    "turn_share",
    "accel_share",
    "per_expected_current",
    "build_up_per_step",
    "per_reserve_width",
    "per_heat_width",
    "per_bus_width",
)

ROAD_NAMES = (
    "road_height_m",
    "road_slope",
    "road_grade_rad",
    "road_curvature_per_m",
    "road_rolling_ratio",
    "road_friction_ratio",
    "road_press_ratio",
)

STATE_NAMES = (
    "alive",
    "distance_m",
    "speed_mps",
    "slip_mps",
    "pitch_rad",
    "pitch_rate_radps",
    "lean_rad",
    "lean_rate_radps",
    "foot_moment_nm",
    "leg_rest_rad",
    "wheel_height_m",
    "wheel_rise_mps",
    "rider_height_m",
    "rider_rise_mps",
    "yaw_rate_radps",
    "current_a",
    "rc_voltage_v",
    "charge_ratio_now",
    "mosfet_c",
    "winding_c",
    "flex_rad",
    "flex_rate_radps",
    "support",
    # sensors
    "felt_rate_radps",
    "gyro_radps",
    "attitude_rad",
    "roll_seen_rad",
    "turned_rad",
    "rotor_angle_rad",
    "rotor_speed_radps",
    # control law
    "rate_filtered_radps",
    "integral_a",
    "accel_lag_mps",
    "accel_integral_a",
    "current_filtered_a",
    "speed_filtered_mps",
    "load_shift_deg",
    "stiffness_lift",
    "turn_lag_1_mps2",
    "turn_lag_2_mps2",
    "warning_now_deg",
    "engaged",
    "authority",
    "engage_pitch_deg",
    "wanted_was_a",
    "wanted_before_a",
    # rider
    "accel_wanted_mps2",
    "accel_expected_mps2",
    "accel_trim_mps2",
    "sway",
    "heed",
    "foot_command_nm",
)

# Numbers handed from one pass to the next within a step, or read by metrics and traces.
SIGNAL_NAMES = (
    "foot_delayed_nm",
    "guide_pitch_rad",
    "seen_grade_rad",
    "seen_rolling_ratio",
    "accel_mps2",
    "lateral_mps2",
    "roll_sine",
    "roll_cosine",
    "roll_rate_radps",
    "radius_now_m",
    "per_radius_now",
    "yaw_seen_radps",
    "shake_mps2",
    "wheel_accel_mps2",
    "bus_v",
    "battery_a",
    "power_w",
    "wheel_load_n",
    "leg_load_n",
    "traction_n",
    "foot_limit_nm",
    "board_moment_nm",
    "cell_rest_v",
    "source_v",
    "phase_square_v2",
    "sag_ohm",
    "discharge_now_w",
    "charge_now_w",
    "winding_resistance_now_ohm",
    "limit_now_a",
    "available_low_a",
    "available_high_a",
    "current_wanted_a",
    "current_commanded_a",
    "current_raw_a",
    "pitch_wanted_deg",
    "speed_wanted_now_mps",
    "ground_pitch_rad",
    "need_a",
    "gyro_noise",
    "accelerometer_noise",
    "yaw_gyro_noise",
    "sway_noise",
)

# Reciprocals that follow a signal, renewed with it.
RECIPROCAL_NAMES = ("per_resistance_now",)

_NAMES = (
    PROFILE_NAMES
    + BOARD_NAMES
    + RIDER_NAMES
    + DERIVED_NAMES
    + TUNED_NAMES
    + ROAD_NAMES
    + STATE_NAMES
    + SIGNAL_NAMES
    + RECIPROCAL_NAMES
    + ACCUMULATOR_NAMES
    + tuple(f"ring_{slot}" for slot in range(RING_SLOTS))
)
if len(set(_NAMES)) != len(_NAMES):
    raise ValueError("two numbers of a lane share one name")

N_ROWS = len(_NAMES)


def _places() -> Any:
    """Return the enumeration of rows; a type checker can not know members made from data."""
    return enum.IntEnum("R", [(name, row * WIDTH) for row, name in enumerate(_NAMES)])


R: Any = _places()

SCRIPT_NAMES = (
    "speed_wanted",
    "turn_wanted",
    "headwind",
    "rise",
    "hold",
    "count",
)
