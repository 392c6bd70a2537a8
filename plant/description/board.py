"""The board: motor, drive, battery, wheel, frame and sensors, as a data sheet gives them.

Currents are q-axis currents, amplitude-invariant; Kv is rpm per volt of line-to-line peak.
"""

import dataclasses
from collections.abc import Mapping

import numpy as np

from plant.arrays import Floats
from plant.description.cells import CELL_OCV_V, Chemistry
from plant.description.quantity import check_sections, numbers_of, quantity


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """A surface-magnet hub motor; resistance and inductance are per phase (half line-to-line)."""

    kv_rpm_per_v: float = quantity("speed constant, line-to-line peak", 3.0, 200.0)
    phase_resistance_ohm: float = quantity("phase resistance at 20 degC", 0.001, 2.0)
    phase_inductance_h: float = quantity("phase inductance", 1e-6, 5e-3)
    pole_pairs: float = quantity("pole pairs", 1, 100)
    winding_heat_capacity_j_per_k: float = quantity("heat capacity of the winding", 10.0, 1e5)
    winding_resistance_k_per_w: float = quantity("thermal resistance to the air", 0.01, 20.0)
    winding_limit_c: float = quantity("highest winding temperature", 60.0, 220.0)
    saturation_ratio: float = quantity("share of torque lost at saturation_current_a", 0.0, 0.25)
    saturation_current_a: float = quantity("current at which that share is lost", 5.0, 1000.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """The inverter: limits, losses, heat, and its current loop."""

    phase_current_limit_a: float = quantity("phase current limit", 5.0, 600.0)
    battery_current_limit_a: float = quantity("battery current limit, discharging", 2.0, 400.0)
    regen_current_limit_a: float = quantity("battery current limit, charging", 0.0, 400.0)
    regen_taper_v: float = quantity("charging tapers off this far below bus_high_v", 0.0, 20.0)
    modulation_limit_ratio: float = quantity("largest modulation index used", 0.5, 1.0)
    field_weakening_a: float = quantity("largest demagnetising current", 0.0, 600.0)
    current_lag_s: float = quantity("time constant of the current loop", 0.0001, 0.02)
    loop_delay_s: float = quantity("mean delay from sensing to current asked", 0.0005, 0.0025)
    mosfet_resistance_ohm: float = quantity("on-resistance in each phase path", 0.0, 0.1)
    switching_loss_w_per_a_v: float = quantity("switching loss per phase A and bus V", 0.0, 0.05)
    standby_power_w: float = quantity("power of the electronics", 0.0, 50.0)
    mosfet_heat_capacity_j_per_k: float = quantity("heat capacity of the MOSFETs", 1.0, 1e4)
    mosfet_resistance_k_per_w: float = quantity("thermal resistance to the air", 0.01, 20.0)
    throttle_start_c: float = quantity("MOSFET temperature at which derating starts", 40.0, 150.0)
    throttle_end_c: float = quantity("MOSFET temperature at which no current is left", 45.0, 180.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """The pack: a chemistry's voltage by charge, series resistance, one RC pair."""

    chemistry: Chemistry
    cells_in_series: float = quantity("cells in series", 2, 60)
    capacity_ah: float = quantity("capacity", 0.2, 200.0)
    series_resistance_ohm: float = quantity("series resistance of the pack", 0.0005, 2.0)
    rc_resistance_ohm: float = quantity("resistance of the RC pair", 0.0, 2.0)
    rc_time_s: float = quantity("time constant of the RC pair", 0.5, 500.0)
    charge_ratio: float = quantity("state of charge at the start", 0.0, 1.0)
    bus_low_v: float = quantity("bus voltage at which the drive cuts out, low", 4.0, 250.0)
    bus_high_v: float = quantity("bus voltage at which the drive cuts out, high", 6.0, 300.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """The tyre and the rotating parts."""

    wheel_mass_kg: float = quantity("mass of wheel, tyre and motor", 1.0, 40.0)
    wheel_radius_m: float = quantity("rolling radius", 0.05, 0.4)
    wheel_inertia_kg_m2: float = quantity("inertia about the axle", 0.001, 2.0)
    tyre_stiffness_n_per_m: float = quantity("vertical stiffness", 5e3, 5e5)
    tyre_damping_n_s_per_m: float = quantity("vertical damping", 10.0, 5e3)
    contact_length_m: float = quantity("length of the contact patch", 0.005, 0.2)
    scrub_ratio: float = quantity("turning resistance per lateral acceleration in g", 0.0, 0.3)
    crown_radius_m: float = quantity("radius of the tread's section, across", 0.0, 0.3)
    roll_ratio: float = quantity("the board's roll in a turn over the coordinated lean", 0.0, 1.5)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The board without its wheel; angles are of the board to the ground at contact."""

    frame_mass_kg: float = quantity("mass without wheel", 1.0, 40.0)
    frame_inertia_kg_m2: float = quantity("pitch inertia about its centre of mass", 0.02, 10.0)
    frame_com_height_m: float = quantity("centre of mass over the axle", -0.2, 0.3)
    nose_contact_deg: float = quantity("pitch at which the nose touches", 5.0, 45.0)
    tail_contact_deg: float = quantity("pitch at which the tail touches", 5.0, 45.0)
    flex_frequency_hz: float = quantity("frame mode between motor and IMU", 5.0, 120.0)
    flex_damping_ratio: float = quantity("damping ratio of that mode", 0.01, 1.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Sensors:
    """Gyro, accelerometer, rotor-angle and current sensor; an error is added to the true value."""

    gyro_noise_deg_per_s: float = quantity("noise at rest, each 1 ms sample", 0.0, 20.0)
    gyro_noise_per_mps2: float = quantity("deg/s more per m/s2 of wheel shaking", 0.0, 5.0)
    gyro_bias_deg_per_s: float = quantity("constant bias", -3.0, 3.0)
    gyro_lag_s: float = quantity("time constant of the gyro's own filter", 0.0002, 0.05)
    attitude_time_s: float = quantity("complementary filter, gyro to accelerometer", 0.1, 100.0)
    turn_correction_ratio: float = quantity(
        "share of a turn's acceleration that the attitude filter takes off", 0.0, 1.2
    )
    imu_tilt_deg: float = quantity("nose-down tilt at which the IMU is mounted", -5.0, 5.0)
    accelerometer_bias_mps2: float = quantity("constant error that feels nose down", -1.0, 1.0)
    current_offset_a: float = quantity("constant error of the measured motor current", -10.0, 10.0)
    speed_tracking_hz: float = quantity("bandwidth of the wheel-speed loop", 0.5, 100.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A whole board.

    Raises
    ------
    ValueError
        A number lies outside its range, or two of them contradict each other.
    """

    motor: Motor
    drive: Drive
    battery: Battery
    wheel: Wheel
    frame: Frame
    sensors: Sensors

    def __post_init__(self) -> None:
        check_sections(self)
        check_rising(numbers_of(self))
        if self.battery.chemistry not in CELL_OCV_V:
            raise ValueError(
                f"chemistry must be one of {', '.join(CELL_OCV_V)}, got {self.battery.chemistry!r}"
            )

    @property
    def taper_start_v(self) -> float:
        """Bus voltage from which on charging tapers off."""
        return self.battery.bus_high_v - self.drive.regen_taper_v


# Two numbers of which the second must be above the first, and their unit.
_RISING = (("throttle_start_c", "throttle_end_c", "degC"), ("bus_low_v", "bus_high_v", "V"))


def check_rising(numbers: Mapping[str, float | Floats]) -> None:
    """Check that no two numbers of a board, or of some boards, contradict each other.

    Parameters
    ----------
    numbers : mapping of str to float or (board,) float64
        By name, as of `plant.description.quantity.numbers_of`.

    Raises
    ------
    ValueError
        One is not above another that it must be above.
    """
    for low, high, unit in _RISING:
        lows, highs = np.broadcast_arrays(numbers[low], numbers[high])
        wrong = np.flatnonzero(highs <= lows)
        if len(wrong):
            raise ValueError(
                f"{high} must be above {low}, got {highs.flat[wrong[0]]:g} "
                f"and {lows.flat[wrong[0]]:g} {unit}"
            )
