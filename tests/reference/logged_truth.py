"""What an invented logged ride is made with: board, rider, intent and ground."""

import dataclasses
import enum
import math

import numpy as np

GRAVITY = 9.80665


class Intent(enum.Enum):
    """How the rider asks for speed."""

    WANDERING = enum.auto()  # another speed every six seconds
    STOP_AND_GO = enum.auto()  # off at every crossing, and down to a walk
    CRUISING = enum.auto()  # slowly faster and slower
    SPRINTING = enum.auto()  # hard up and hard down


@dataclasses.dataclass(frozen=True, kw_only=True)
class Truth:
    """What the ride was made with."""

    # The board.
    kv_rpm_per_v: float
    phase_resistance_ohm: float
    phase_inductance_h: float
    pole_pairs: int
    radius_m: float
    rim_kg_m2: float
    wheel_kg: float
    frame_kg: float
    rest_voltage_v: float
    rest_fall_v_per_ah: float
    series_resistance_ohm: float
    rc_resistance_ohm: float
    rc_time_s: float
    # The controller and its sensors.
    inner_gain_a_per_deg: float
    inner_band_deg: float
    base_gain_a_per_deg: float
    rate_gain_a_per_deg_per_s: float
    integral_gain_a_per_deg_s: float
    integral_clamp_a: float
    braking_stiffness_ratio: float
    braking_damping_ratio: float
    load_expected_a_per_mps2: float
    load_deadband_mps2: float
    uphill_gain_deg_per_mps2: float
    downhill_gain_deg_per_mps2: float
    load_rise_deg_per_s: float
    load_fall_deg_per_s: float
    stiffness_lift_per_mps2: float
    turn_gain_deg_per_mps2: float
    turn_build_up_s: float
    attitude_time_s: float
    gyro_bias_deg_per_s: float
    # The rider.
    rider_kg: float
    com_height_m: float
    lean_gain: float
    lean_rate_gain_s: float
    sway_nm: float
    hardest_mps2: float
    intent: Intent
    # The ground, the air and the recorder.
    rolling_ratio: float
    drag_area_m2: float
    hilliness: float
    steps_per_row: int

    @property
    def torque_per_amp(self):
        """Torque constant: three halves of the flux linkage times pole pairs."""
        return 1.5 * 60.0 / (2.0 * math.pi * math.sqrt(3.0) * self.kv_rpm_per_v)

    @property
    def expected_current_a_per_mps2(self):
        """Force balance of a rolling wheel."""
        felt_kg = self.rider_kg + self.wheel_kg + self.frame_kg + self.rim_kg_m2 / self.radius_m**2
        return felt_kg * self.radius_m / self.torque_per_amp


def drawn_truth(seed):
    """Return the numbers of a seed, most within a quarter of invented middle values."""
    random = np.random.default_rng([seed, 1])

    def near(middle):
        return round(middle * random.uniform(0.8, 1.25), 6)

    rider_kg = round(random.uniform(45.0, 110.0), 1)
    # A heavier rider is held by more current.
    firmness = (rider_kg / 80.0) ** 0.5
    truth = Truth(
        kv_rpm_per_v=near(15.0),
        phase_resistance_ohm=near(0.05),
        phase_inductance_h=near(1.2e-4),
        pole_pairs=int(random.choice([10, 14, 15, 20])),
        radius_m=round(random.uniform(0.125, 0.15), 3),
        rim_kg_m2=near(0.09),
        wheel_kg=near(9.0),
        frame_kg=near(7.0),
        rest_voltage_v=random.uniform(54.0, 60.0),
        rest_fall_v_per_ah=near(1.4),
        series_resistance_ohm=near(0.08),
        rc_resistance_ohm=near(0.05),
        rc_time_s=near(20.0),
        inner_gain_a_per_deg=near(8.0 * firmness),
        inner_band_deg=near(1.2),
        base_gain_a_per_deg=near(4.5 * firmness),
        rate_gain_a_per_deg_per_s=near(0.7 * firmness),
        integral_gain_a_per_deg_s=0.0,
        integral_clamp_a=15.0,
        braking_stiffness_ratio=1.0,
        braking_damping_ratio=1.0,
        load_expected_a_per_mps2=20.0,
        load_deadband_mps2=0.0,
        uphill_gain_deg_per_mps2=0.0,
        downhill_gain_deg_per_mps2=0.0,
        load_rise_deg_per_s=12.0,
        load_fall_deg_per_s=8.0,
        stiffness_lift_per_mps2=0.0,
        turn_gain_deg_per_mps2=0.0,
        turn_build_up_s=0.4,
        attitude_time_s=near(3.0),
        gyro_bias_deg_per_s=random.uniform(-0.3, 0.3),
        rider_kg=rider_kg,
        com_height_m=round(0.6 + random.uniform(0.35, 0.55), 3),
        lean_gain=random.uniform(0.75, 1.1),
        lean_rate_gain_s=random.uniform(0.22, 0.36),
        sway_nm=near(6.0 * rider_kg / 80.0),
        hardest_mps2=random.uniform(0.9, 1.6),
        intent=Intent(int(random.integers(1, len(Intent) + 1))),
        rolling_ratio=near(0.02),
        drag_area_m2=near(0.6),
        hilliness=random.uniform(0.3, 1.6),
        steps_per_row=int(random.choice([1, 2, 4])),
    )
    return _with_slow_answers(truth, random) if seed % 2 else truth


def _with_slow_answers(truth, random):
    """Return the truth with a controller that answers to more than pitch and rate."""

    def near(middle):
        return round(middle * random.uniform(0.8, 1.25), 6)

    return dataclasses.replace(
        truth,
        integral_gain_a_per_deg_s=near(2.0),
        integral_clamp_a=near(15.0),
        braking_stiffness_ratio=near(0.8),
        braking_damping_ratio=near(0.9),
        # Its maker knows the board about well.
        load_expected_a_per_mps2=near(1.0) * truth.expected_current_a_per_mps2,
        load_deadband_mps2=near(0.3),
        uphill_gain_deg_per_mps2=near(1.5),
        downhill_gain_deg_per_mps2=near(1.2),
        load_rise_deg_per_s=near(12.0),
        load_fall_deg_per_s=near(8.0),
        stiffness_lift_per_mps2=near(0.25),
        turn_gain_deg_per_mps2=near(0.6),
        turn_build_up_s=near(0.4),
    )
