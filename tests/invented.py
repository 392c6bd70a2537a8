"""An invented board, invented riders and an invented profile for tests."""

from plant.description.board import Battery, Board, Drive, Frame, Motor, Sensors, Wheel
from plant.description.profile import (
    Braking,
    Damping,
    Engagement,
    Integral,
    LoadResponse,
    Profile,
    Protection,
    Stiffness,
    TurnResponse,
)
from plant.description.rider import Body, Rider, Skill


def board() -> Board:
    """Return a board with a 15 rpm/V hub motor and a 63 V pack."""
    return Board(
        motor=Motor(
            kv_rpm_per_v=15.0,
            phase_resistance_ohm=0.06,
            phase_inductance_h=1.5e-4,
            pole_pairs=15,
            winding_heat_capacity_j_per_k=900.0,
            winding_resistance_k_per_w=0.8,
            winding_limit_c=120.0,
            saturation_ratio=0.0,
            saturation_current_a=140.0,
        ),
        drive=Drive(
            phase_current_limit_a=140.0,
            battery_current_limit_a=50.0,
            regen_current_limit_a=25.0,
            regen_taper_v=0.0,
            modulation_limit_ratio=0.95,
            field_weakening_a=0.0,
            current_lag_s=0.001,
            loop_delay_s=0.0017,
            mosfet_resistance_ohm=0.003,
            switching_loss_w_per_a_v=0.002,
            standby_power_w=5.0,
            mosfet_heat_capacity_j_per_k=120.0,
            mosfet_resistance_k_per_w=0.9,
            throttle_start_c=80.0,
            throttle_end_c=95.0,
        ),
        battery=Battery(
            chemistry="nmc",
            cells_in_series=15,
            capacity_ah=9.0,
            series_resistance_ohm=0.08,
            rc_resistance_ohm=0.03,
            rc_time_s=30.0,
            charge_ratio=0.8,
            bus_low_v=42.0,
            bus_high_v=67.0,
        ),
        wheel=Wheel(
            wheel_mass_kg=9.0,
            wheel_radius_m=0.14,
            wheel_inertia_kg_m2=0.09,
            tyre_stiffness_n_per_m=7e4,
            tyre_damping_n_s_per_m=400.0,
            contact_length_m=0.06,
            scrub_ratio=0.03,
            crown_radius_m=0.07,
            roll_ratio=1.0,
        ),
        frame=Frame(
            frame_mass_kg=7.0,
            frame_inertia_kg_m2=0.45,
            frame_com_height_m=0.02,
            nose_contact_deg=18.0,
            tail_contact_deg=18.0,
            flex_frequency_hz=30.0,
            flex_damping_ratio=0.08,
        ),
        sensors=Sensors(
            gyro_noise_deg_per_s=0.4,
            gyro_noise_per_mps2=0.05,
            gyro_bias_deg_per_s=0.1,
            gyro_lag_s=0.002,
            attitude_time_s=3.0,
            turn_correction_ratio=0.8,
            imu_tilt_deg=0.0,
            accelerometer_bias_mps2=0.0,
            current_offset_a=0.0,
            speed_tracking_hz=8.0,
        ),
    )


def rider(mass_kg: float, stature_m: float, **skill: float) -> Rider:
    """Return a rider; `skill` replaces single habits."""
    habits = {
        "reflex_delay_s": 0.11,
        "reflex_lag_s": 0.05,
        "lean_gain_ratio": 0.19,
        "lean_rate_gain_s": 0.055,
        "leg_stiffness_ratio": 0.03,
        "leg_damping_s": 0.015,
        "smoothing_s": 0.25,
        "accel_limit_mps2": 1.5,
        "braking_limit_mps2": 2.0,
        "foot_use_ratio": 0.8,
        "warning_heed_ratio": 0.7,
        "sway_ratio": 0.005,
        "step_off_lean_deg": 35.0,
    }
    return Rider(
        body=Body(
            mass_kg=mass_kg,
            stature_m=stature_m,
            stance_m=0.3 * stature_m,
            deck_height_m=0.03,
            drag_area_m2=0.5,
        ),
        skill=Skill(**(habits | skill)),
    )


def profile() -> Profile:
    """Return a profile a builder might begin with."""
    return Profile(
        stiffness=Stiffness(
            inner_gain_a_per_deg=8.0,
            inner_band_deg=1.2,
            base_gain_a_per_deg=3.5,
            mid_knee_deg=4.0,
            mid_gain_ratio=1.4,
            outer_knee_deg=8.0,
            outer_gain_ratio=1.5,
        ),
        damping=Damping(
            rate_gain_a_per_deg_per_s=0.4, rate_filter_hz=60.0, rate_current_cap_a=60.0
        ),
        integral=Integral(integral_gain_a_per_deg_s=1.0, integral_clamp_a=10.0),
        braking=Braking(
            braking_stiffness_ratio=0.8, braking_damping_ratio=1.0, braking_current_cap_a=90.0
        ),
        load_response=LoadResponse(
            expected_current_a_per_mps2=20.0,
            load_deadband_mps2=0.5,
            uphill_gain_deg_per_mps2=1.0,
            downhill_gain_deg_per_mps2=0.7,
            load_shift_cap_deg=4.0,
            load_rise_deg_per_s=8.0,
            load_fall_deg_per_s=12.0,
            stiffness_lift_per_mps2=0.3,
            stiffness_lift_cap_ratio=2.0,
        ),
        turn_response=TurnResponse(
            turn_gain_deg_per_mps2=0.4, turn_build_up_s=0.3, turn_lift_cap_deg=3.0
        ),
        protection=Protection(
            reserve_warning_ratio=0.2,
            heat_warning_margin_k=3.0,
            bus_warning_margin_v=2.0,
            warning_lift_deg=6.0,
            warning_slew_deg_per_s=10.0,
        ),
        engagement=Engagement(
            engage_angle_deg=14.0, torque_build_up_s=0.25, level_slew_deg_per_s=60.0
        ),
    )
