"""What the road and the sensors say, over a batch of lanes."""

from types import SimpleNamespace as Lanes

import numpy as np
from numpy.typing import NDArray

from plant.kernel.lane_layout import ROAD_NAMES
from tests.reference.constants import ACCELEROMETER_SHARE, DT_S, GRAVITY_MPS2, PREVIEW_S
from tests.reference.numpy_noise import CHANNELS, counter_noise


def _place(distance_m: NDArray[np.float64], n_stations: int, step_m: float):
    """Return where on the road's table each lane stands, held at both ends; NaN at its start."""
    place = distance_m / step_m
    return np.clip(np.where(np.isnan(place), 0.0, place), 0.0, n_stations - 2.0)


def read_road(
    lanes: Lanes, roads: NDArray[np.float64], step_m: float, *, of_lane: NDArray[np.int64]
) -> None:
    """Interpolate the road's columns under each lane, and look ahead at its grade.

    `roads` is (road, station, column) and `of_lane` the road of each lane.
    """
    place = _place(lanes.distance_m, roads.shape[1], step_m)
    cell = place.astype(int)
    share = (place - cell)[:, None]
    here = roads[of_lane, cell]
    columns = here + share * (roads[of_lane, cell + 1] - here)
    for column, name in enumerate(ROAD_NAMES):
        setattr(lanes, name, columns[:, column])
    ahead = _place(lanes.distance_m + PREVIEW_S * lanes.speed_mps, roads.shape[1], step_m)
    seen = roads[of_lane, ahead.astype(int)]
    lanes.seen_rolling_ratio = seen[:, ROAD_NAMES.index("road_rolling_ratio")]
    lanes.seen_grade_rad = seen[:, ROAD_NAMES.index("road_grade_rad")]


def sense(lanes: Lanes, step: int) -> None:
    """Draw the noise, and advance gyro, attitude filter and tracking loop."""
    for channel in CHANNELS:
        setattr(lanes, f"{channel}_noise", counter_noise(lanes.noise_seed, step, channel))
    noise_deg_per_s = lanes.gyro_noise_deg_per_s + lanes.gyro_noise_per_mps2 * lanes.shake_mps2
    # Level in a banked turn, the board turns nose up about its own axle.
    felt = (
        lanes.pitch_rate_radps
        - lanes.yaw_rate_radps * lanes.roll_sine
        + lanes.flex_rate_radps
        + np.radians(lanes.gyro_bias_deg_per_s)
        + np.radians(noise_deg_per_s) * lanes.gyro_noise
    )
    # tau y' + y = u with u on a straight line: behind it by tau times its slope once settled.
    behind = lanes.gyro_lag_s * (felt - lanes.felt_rate_radps) / DT_S
    unsettled = lanes.gyro_radps - (lanes.felt_rate_radps - behind)
    lanes.gyro_radps = felt - behind + unsettled * np.exp(-DT_S / lanes.gyro_lag_s)
    lanes.felt_rate_radps = felt

    estimate_attitude(lanes)

    turned = lanes.distance_m / lanes.wheel_radius_m + lanes.turned_rad - lanes.pitch_rad
    count_rad = 2.0 * np.pi / (6.0 * lanes.pole_pairs)
    miss = np.floor(turned / count_rad) * count_rad - lanes.rotor_angle_rad
    bandwidth = 2.0 * np.pi * lanes.speed_tracking_hz
    lanes.rotor_angle_rad += (lanes.rotor_speed_radps + 2.0 * bandwidth * miss) * DT_S
    lanes.rotor_speed_radps += bandwidth**2 * miss * DT_S


def estimate_attitude(lanes: Lanes) -> None:
    """Advance the filter's pitch and roll: gyros integrated in space, pulled to the accelerometer.

    Along the board's level axes (forwards, inwards, up) the sensor feels gravity and the
    acceleration of ride and turn; gyro rates are resolved with the filter's own angles, whose
    error in pitch is small.
    """
    roll = np.arctan2(lanes.roll_sine, lanes.roll_cosine)
    up = GRAVITY_MPS2 + lanes.accel_mps2 * np.sin(lanes.road_grade_rad)
    forwards = lanes.accel_mps2 * np.cos(lanes.road_grade_rad)
    lateral = (1.0 - lanes.turn_correction_ratio) * lanes.lateral_mps2
    across = up * np.cos(roll) + lateral * np.sin(roll)
    inwards = lateral * np.cos(roll) - up * np.sin(roll)
    shaken = ACCELEROMETER_SHARE * lanes.shake_mps2 / GRAVITY_MPS2 * lanes.accelerometer_noise
    pitch = lanes.pitch_rad + lanes.flex_rad
    seen = lanes.roll_seen_rad

    too_low = lanes.attitude_rad - pitch
    about_up = lanes.yaw_rate_radps * np.cos(roll) + lanes.roll_rate_radps * too_low
    about_ahead = lanes.roll_rate_radps - lanes.yaw_rate_radps * np.cos(roll) * too_low
    askew = np.radians(lanes.imu_tilt_deg) + lanes.accelerometer_bias_mps2 / GRAVITY_MPS2
    tilted = pitch + askew - forwards / across + shaken - lanes.attitude_rad
    # About 1 / across, which is about g.
    per_across = (2.0 * GRAVITY_MPS2 - across) / GRAVITY_MPS2**2
    leaning = -inwards * per_across * np.cos(seen) - np.sin(seen)
    lanes.yaw_seen_radps = about_up / np.cos(seen)
    lanes.attitude_rad = lanes.attitude_rad + DT_S * (
        lanes.gyro_radps + about_up * np.tan(seen) + tilted / lanes.attitude_time_s
    )
    lanes.roll_seen_rad = seen + DT_S * (about_ahead + leaning / lanes.attitude_time_s)
