"""A logged ride on models that are not the project's: MuJoCo bodies, a machine, a Thevenin pack.

The rider leans for speed, over rolling ground. Road load is rolling, air and grade as textbooks
have them. What is ridden, by whom and how is a `logged_truth.Truth`.
"""

import math

import mujoco
import numpy as np
import pandas as pd
from motulator.drive.model import SynchronousMachine
from motulator.drive.utils import SynchronousMachinePars
from scipy.signal import lfilter

from tests.reference.logged_controller import Controller
from tests.reference.logged_truth import GRAVITY, Intent, Truth
from tests.reference.mujoco_bodies import three_bodies

STEP_S = 0.004
SWITCH_OHM = 0.003
STANDBY_W = 6.0
AIR_KG_M3 = 1.225
LIMIT_A = 110.0
SIGNALS = (
    "current", "speed", "pitch", "rate", "along", "grade", "forward_force", "upward_force", "yaw",
)  # fmt: skip
MAPPING = """\
confirmed = true
rider_mass_kg = {truth.rider_kg}
[board]
use = "lender_15"
motor = {{ use = "hub_15", pole_pairs = {truth.pole_pairs} }}
drive = {{ use = "inverter_110", standby_power_w = {standby_w} }}
frame = {{ use = "rail_80cm", frame_mass_kg = {truth.frame_kg} }}
[board.wheel]
use = "tyre_28cm"
wheel_mass_kg = {truth.wheel_kg}
wheel_radius_m = {truth.radius_m}
wheel_inertia_kg_m2 = {truth.rim_kg_m2}
[columns]
time_s = {{ column = "t", unit = "s" }}
current_a = {{ column = "motor_a", unit = "A" }}
speed_mps = {{ column = "wheel_rpm", unit = "rpm" }}
bus_v = {{ column = "pack_v", unit = "V" }}
pack_a = {{ column = "pack_a", unit = "A" }}
pitch_rad = {{ column = "pitch_deg", unit = "deg" }}
pitch_rate_rad_per_s = {{ column = "gyro_dps", unit = "deg/s" }}
yaw_rate_rad_per_s = {{ column = "yaw_dps", unit = "deg/s" }}
forward_force_mps2 = {{ column = "accel_x", unit = "m/s2" }}
upward_force_mps2 = {{ column = "accel_z", unit = "m/s2" }}
duty_ratio = {{ column = "duty", unit = "ratio" }}
altitude_m = {{ column = "altitude", unit = "m" }}
"""


def mapping(truth: Truth):
    """Return the mapping of a log, with what a builder measures before a ride: masses, wheel."""
    return MAPPING.format(truth=truth, standby_w=STANDBY_W)


def _bodies(truth):
    mass, height, frame = truth.rider_kg, truth.com_height_m, truth.frame_kg
    moving = mass + frame + truth.wheel_kg
    return three_bodies(
        {
            "frame_mass_kg": frame,
            "frame_com_height_m": 0.02,
            "frame_inertia_kg_m2": 0.45,
            "deck_height_m": 0.0,
            "rider_mh_kg_m": mass * height,
            "mass_kg": mass,
            "rider_j_kg_m2": 1.15 * mass * height**2,
            "rolling_mass_kg": moving + truth.rim_kg_m2 / truth.radius_m**2,
            "moving_mass_kg": moving,
            "wheel_mass_kg": truth.wheel_kg,
        },
        step_s=STEP_S,
    )


def asked_speeds(truth, random, n_steps):
    """Return the speed that the rider wants, (step,), in m/s."""
    time_s = np.arange(n_steps) * STEP_S
    if truth.intent is Intent.CRUISING:
        period_s = random.uniform(25.0, 50.0)
        return 5.5 + 2.0 * np.sin(2.0 * math.pi * time_s / period_s + random.uniform(0.0, 6.0))
    each_s, choices = {
        Intent.WANDERING: (6.0, random.uniform(1.5, 9.0, n_steps)),
        Intent.STOP_AND_GO: (9.0, np.where(np.arange(n_steps) % 2, 0.8, 6.0)),
        Intent.SPRINTING: (7.0, np.where(np.arange(n_steps) % 2, 2.5, 9.0)),
    }[truth.intent]
    turns = np.floor(time_s / each_s).astype(int)
    varied = choices[turns] + random.uniform(-0.5, 1.0, n_steps)[turns]
    return lfilter([0.004], [1.0, -0.996], varied, zi=[0.996 * 4.0])[0]


def _turns(random, n_steps):
    """Return the yaw rate of a ride with a turn every few seconds, (step,), in rad/s."""
    wanted = np.repeat(random.normal(0.0, 0.3, n_steps // 750 + 1), 750)[:n_steps]
    return lfilter([0.016], [1.0, -0.984], wanted)


def ridden(truth, *, seed, duration_s, asked=None):
    """Return the true signals of a ride over rolling ground, every `STEP_S`.

    The rider asks for the speeds that `asked` returns for so many steps, by the truth's intent if
    it is not given.
    """
    random = np.random.default_rng([seed, 2])
    model = _bodies(truth)
    data = mujoco.MjData(model)
    n_steps = round(duration_s / STEP_S)
    by_intent = asked_speeds(truth, random, n_steps)
    wanted = (by_intent if asked is None else asked(n_steps)).tolist()
    sway = lfilter([0.2], [1.0, -0.98], random.normal(0.0, truth.sway_nm, n_steps)).tolist()
    phase = random.uniform(0.0, 2.0 * math.pi, 2).tolist()
    weight = (truth.rider_kg + truth.wheel_kg + truth.frame_kg) * GRAVITY
    mgh = truth.rider_kg * GRAVITY * truth.com_height_m
    most_nm = 0.115 * truth.rider_kg * GRAVITY
    per_amp = truth.torque_per_amp
    kept = np.empty((n_steps, len(SIGNALS)))
    bias = math.radians(truth.gyro_bias_deg_per_s)
    controller = Controller(truth, step_s=STEP_S, limit_a=LIMIT_A, speed_mps=4.0)
    yaw = _turns(random, n_steps).tolist()
    data.qvel[0] = 4.0
    qpos, qvel, force, gravity = data.qpos, data.qvel, data.qfrc_applied, model.opt.gravity
    seen, before = 0.0, 4.0
    for step in range(n_steps):
        speed, tilt_rate, twist_rate = qvel.tolist()
        along, tilt, twist = qpos.tolist()
        lean, lean_rate = tilt + twist, tilt_rate + twist_rate
        grade, turning = _grade(along, phase, truth.hilliness)
        # Tilt and lean count from the slope's normal; the rider and the sensors know the level.
        pitch, upright = tilt - grade, lean - grade
        ahead = (speed - before) / STEP_S
        before = speed
        across, upwards = ahead * math.cos(grade), GRAVITY + ahead * math.sin(grade)
        forward_force = across * math.cos(pitch) - upwards * math.sin(pitch)
        upward_force = across * math.sin(pitch) + upwards * math.cos(pitch)
        rate = tilt_rate - turning * speed + bias
        shown = math.atan2(-forward_force, upward_force)
        seen += (rate + (shown - seen) / truth.attitude_time_s) * STEP_S
        current = controller.current(
            attitude_deg=math.degrees(seen),
            rate_deg_per_s=math.degrees(rate),
            speed_mps=speed,
            lateral_mps2=yaw[step] * speed,
        )
        hardest = truth.hardest_mps2
        wish = min(max(0.5 * (wanted[step] - speed), -hardest), hardest)
        reference = (wish / GRAVITY + grade) * 1.1 + 0.01
        foot = sway[step] - mgh * (
            truth.lean_gain * (upright - reference) + truth.lean_rate_gain_s * lean_rate
        )
        foot = min(max(foot, -most_nm), most_nm)
        torque = per_amp * current
        held_back = truth.rolling_ratio * weight * math.cos(grade) * math.copysign(1.0, speed)
        held_back += 0.5 * AIR_KG_M3 * truth.drag_area_m2 * speed * abs(speed)
        force[0] = torque / truth.radius_m - held_back
        force[1] = -torque
        force[2] = foot  # between board and rider
        gravity[0], gravity[2] = -GRAVITY * math.sin(grade), -GRAVITY * math.cos(grade)
        kept[step] = (current, speed, seen, rate, along, grade, forward_force, upward_force,
                      yaw[step])  # fmt: skip
        mujoco.mj_step(model, data)
    return dict(zip(SIGNALS, kept.T, strict=True))


def _grade(along, phase, hilliness):
    """Return the slope of rolling ground in rad, and how it turns in rad/m."""
    long, short = along / 60.0 + phase[0], along / 23.0 + phase[1]
    grade = hilliness * (0.02 * math.sin(long) + 0.015 * math.sin(short))
    return grade, hilliness * (0.02 / 60.0 * math.cos(long) + 0.015 / 23.0 * math.cos(short))


def _voltages(truth, signals):
    """Return phase voltage of motulator's machine, and volts and amperes of a Thevenin pack."""
    per_volt = truth.pole_pairs * truth.kv_rpm_per_v * math.pi / 30.0
    machine = SynchronousMachine(
        SynchronousMachinePars(
            n_p=truth.pole_pairs,
            R_s=truth.phase_resistance_ohm + SWITCH_OHM,
            L_d=truth.phase_inductance_h,
            L_q=truth.phase_inductance_h,
            psi_f=1.0 / math.sqrt(3.0) / per_volt,
        )
    )
    current = signals["current"]
    machine.state.psi_s = machine.par.psi_f + 1j * machine.par.L_q * current
    machine.set_outputs(None)
    machine.inp.w_M = signals["speed"] / truth.radius_m
    machine.inp.u_ss = 0.0
    phase_v = -machine.rhs()[0]
    power_w = 1.5 * np.real(phase_v * np.conj(1j * current)) + STANDBY_W
    share = math.exp(-STEP_S / truth.rc_time_s)
    bus_v = np.full_like(current, truth.rest_voltage_v)
    for _ in range(8):
        pack_a = power_w / bus_v
        slow = lfilter([0.0, 1.0 - share], [1.0, -share], pack_a)
        drawn_ah = np.cumsum(pack_a) * STEP_S / 3600.0
        bus_v = truth.rest_voltage_v - truth.rest_fall_v_per_ah * drawn_ah
        bus_v = bus_v - truth.series_resistance_ohm * pack_a - truth.rc_resistance_ohm * slow
    return np.abs(phase_v), bus_v, pack_a


def logged(truth, *, seed, duration_s, asked=None):
    """Return a ride as a recorder leaves it: noise, jitter, a gap, glitches and holes."""
    signals = ridden(truth, seed=seed, duration_s=duration_s, asked=asked)
    phase_v, bus_v, pack_a = _voltages(truth, signals)
    random = np.random.default_rng([seed, 3])
    keep = slice(0, None, truth.steps_per_row)
    row_s = truth.steps_per_row * STEP_S
    n_rows = len(phase_v[keep])

    def noisy(values, sigma):
        return values[keep] + random.normal(0.0, sigma, n_rows)

    height = np.cumsum(np.sin(signals["grade"]) * signals["speed"]) * STEP_S
    wander = lfilter([1e-3], [1.0, -0.999], random.normal(0.0, 10.0, n_rows))
    table = pd.DataFrame(
        {
            "t": np.arange(n_rows) * row_s + random.uniform(-2e-4, 2e-4, n_rows),
            "motor_a": noisy(signals["current"], 0.5),
            "wheel_rpm": noisy(signals["speed"], 0.01) / truth.radius_m * 30.0 / math.pi,
            "pack_v": noisy(bus_v, 0.05),
            "pack_a": noisy(pack_a, 0.1),
            "pitch_deg": np.degrees(noisy(signals["pitch"], 1e-4)),
            "gyro_dps": np.degrees(noisy(signals["rate"], 1e-3)),
            "yaw_dps": np.degrees(noisy(signals["yaw"], 1e-3)),
            "accel_x": noisy(signals["forward_force"], 0.3),
            "accel_z": noisy(signals["upward_force"], 0.3),
            "duty": noisy(phase_v * math.sqrt(3.0) / bus_v, 0.002),
            "altitude": np.round(300.0 + height[keep] + wander, 1),
        }
    )
    spikes = random.random(n_rows) < 5e-4
    table.loc[spikes, "motor_a"] += 150.0
    table.loc[random.random(n_rows) < 5e-4, "wheel_rpm"] = 0.0
    table.loc[random.random(n_rows) < 5e-3, "pack_v"] = np.nan
    gap = int(0.8 * n_rows)
    return table.drop(index=range(gap, gap + round(2.0 / row_s)))
