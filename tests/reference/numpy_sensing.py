"""What the road and the sensors say, over a batch of lanes."""

from types import SimpleNamespace as Lanes

import numpy as np
from numpy.typing import NDArray

from plant.kernel.lane_layout import ROAD_NAMES
from tests.reference.constants import ACCELEROMETER_SHARE, DT_S, GRAVITY_MPS2, PREVIEW_S
from tests.reference.numpy_noise import CHANNELS, counter_noise


def _place(distance_m: NDArray[np.float64], road: NDArray[np.float64], step_m: float):
    """Return where on the road's table each lane stands, held at both ends; NaN at its start."""
    place = distance_m / step_m
    return np.clip(np.where(np.isnan(place), 0.0, place), 0.0, len(road) - 2.0)


def read_road(lanes: Lanes, road: NDArray[np.float64], step_m: float) -> None:
    """Interpolate the road's columns under each lane, and look ahead at its grade."""
    place = _place(lanes.distance_m, road, step_m)
    cell = place.astype(int)
    share = (place - cell)[:, None]
    columns = road[cell] + share * (road[cell + 1] - road[cell])
    for column, name in enumerate(ROAD_NAMES):
        setattr(lanes, name, columns[:, column])
    ahead = _place(lanes.distance_m + PREVIEW_S * lanes.speed_mps, road, step_m)
    lanes.seen_grade_rad = road[ahead.astype(int), ROAD_NAMES.index("road_grade_rad")]


def sense(lanes: Lanes, step: int) -> None:
    """Draw the noise, and advance the gyro, the attitude filter and the tracking loop."""
    for channel in CHANNELS:
        setattr(lanes, f"{channel}_noise", counter_noise(lanes.noise_seed, step, channel))
    noise_deg_per_s = lanes.gyro_noise_deg_per_s + lanes.gyro_noise_per_mps2 * lanes.shake_mps2
    felt = (
        lanes.pitch_rate_radps
        + lanes.flex_rate_radps
        + np.radians(lanes.gyro_bias_deg_per_s)
        + np.radians(noise_deg_per_s) * lanes.gyro_noise
    )
    lanes.gyro_radps += (felt - lanes.gyro_radps) * -np.expm1(-DT_S / lanes.gyro_lag_s)

    # Specific force along and across the slope turns the accelerometer's idea of upright.
    along = lanes.accel_mps2 * np.cos(lanes.road_grade_rad)
    across = GRAVITY_MPS2 + lanes.accel_mps2 * np.sin(lanes.road_grade_rad)
    shaken = ACCELEROMETER_SHARE * lanes.shake_mps2 / GRAVITY_MPS2 * lanes.accelerometer_noise
    upright = lanes.pitch_rad + lanes.flex_rad - along / across + shaken
    correction = (upright - lanes.attitude_rad) / lanes.attitude_time_s
    lanes.attitude_rad += (lanes.gyro_radps + correction) * DT_S

    turned = lanes.distance_m / lanes.wheel_radius_m - lanes.pitch_rad
    count_rad = 2.0 * np.pi / (6.0 * lanes.pole_pairs)
    miss = np.floor(turned / count_rad) * count_rad - lanes.rotor_angle_rad
    bandwidth = 2.0 * np.pi * lanes.speed_tracking_hz
    lanes.rotor_angle_rad += (lanes.rotor_speed_radps + 2.0 * bandwidth * miss) * DT_S
    lanes.rotor_speed_radps += bandwidth**2 * miss * DT_S
