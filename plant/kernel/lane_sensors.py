"""The sensors on the rows of one lane: gyro, attitude filter, wheel-speed tracking loop."""

import numpy as np

from plant.compile import scalar
from plant.constants import DEG_PER_RAD, DT_S, GRAVITY_MPS2
from plant.kernel.lane_layout import Block, R
from plant.physics.attitude import estimated, felt_tilt
from plant.physics.lag import lag_behind_ramp
from plant.physics.noise import noise_of_step
from plant.physics.scalar_math import cosine, sine
from plant.physics.turning import felt_pitch_rate

_ACCELEROMETER_SHARE = 0.3  # assumed: share of the wheel's shaking that the IMU feels


@scalar
def draw_noise(b: Block, k: int, step: int) -> None:
    """Draw the noise of this step for the sensors and for the rider's sway."""
    gyro, accelerometer, yaw_gyro, sway = noise_of_step(
        b[R.noise_key_low + k], b[R.noise_key_high + k], step
    )
    b[R.gyro_noise + k] = gyro
    b[R.accelerometer_noise + k] = accelerometer
    b[R.yaw_gyro_noise + k] = yaw_gyro
    b[R.sway_noise + k] = sway


@scalar
def feel_rate(b: Block, k: int) -> None:
    """Advance the gyro: the frame's rate about its axle with bias and noise, through its lag."""
    noise = (
        b[R.gyro_noise_deg_per_s + k] + b[R.gyro_noise_per_mps2 + k] * b[R.shake_mps2 + k]
    ) / DEG_PER_RAD
    felt = (
        felt_pitch_rate(b[R.pitch_rate_radps + k], b[R.yaw_rate_radps + k], b[R.roll_sine + k])
        + b[R.flex_rate_radps + k]
        + b[R.gyro_bias_deg_per_s + k] / DEG_PER_RAD
        + noise * b[R.gyro_noise + k]
    )
    b[R.gyro_radps + k] = lag_behind_ramp(
        b[R.gyro_radps + k],
        b[R.felt_rate_radps + k],
        felt,
        b[R.gyro_share + k],
        b[R.gyro_ramp_share + k],
    )
    b[R.felt_rate_radps + k] = felt


@scalar
def estimate_attitude(b: Block, k: int) -> None:
    """Advance the complementary filter: the gyros' rates, pulled to the accelerometer's level."""
    accel = b[R.accel_mps2 + k]
    grade = b[R.road_grade_rad + k]
    pitch = b[R.pitch_rad + k] + b[R.flex_rad + k]
    roll_c = b[R.roll_cosine + k]
    pitch_felt, roll_felt = felt_tilt(
        pitch,
        accel * cosine(grade),
        GRAVITY_MPS2 + accel * sine(grade),
        b[R.lateral_mps2 + k] * b[R.turn_felt_ratio + k],
        b[R.roll_sine + k],
        roll_c,
    )
    pitch_felt += b[R.level_error_rad + k]
    pitch_felt += (
        _ACCELEROMETER_SHARE * b[R.shake_mps2 + k] / GRAVITY_MPS2 * b[R.accelerometer_noise + k]
    )
    attitude, roll, yaw = estimated(
        b[R.attitude_rad + k],
        b[R.roll_seen_rad + k],
        pitch,
        b[R.gyro_radps + k],
        b[R.yaw_rate_radps + k],
        roll_c,
        b[R.roll_rate_radps + k],
        pitch_felt,
        roll_felt,
        b[R.per_attitude_time + k],
        DT_S,
    )
    b[R.attitude_rad + k] = attitude
    b[R.roll_seen_rad + k] = roll
    b[R.yaw_seen_radps + k] = yaw


@scalar
def track_wheel(b: Block, k: int) -> None:
    """Advance the tracking loop that follows the counted rotor angle."""
    turned = b[R.distance_m + k] * b[R.per_radius_m + k] - (
        b[R.pitch_rad + k] - b[R.turned_rad + k]
    )
    seen = np.floor(turned * b[R.counts_per_rad + k]) * b[R.per_counts_per_rad + k]
    angle = b[R.rotor_angle_rad + k]
    speed = b[R.rotor_speed_radps + k]
    miss = seen - angle
    b[R.rotor_angle_rad + k] = angle + (speed + b[R.tracking_gain_per_s + k] * miss) * DT_S
    b[R.rotor_speed_radps + k] = speed + b[R.tracking_gain_per_s2 + k] * miss * DT_S
