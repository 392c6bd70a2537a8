"""A logged ride on models that are not the project's: MuJoCo bodies, a machine, a Thevenin pack.

The controller is written here again as a straight piecewise curve of pitch with a rate term. The
rider leans for speed. Road load is rolling, air and grade as textbooks have them. All numbers are
invented; each seed has its own.
"""

import dataclasses
import math

import mujoco
import numpy as np
import pandas as pd
from motulator.drive.model import SynchronousMachine
from motulator.drive.utils import SynchronousMachinePars
from scipy.signal import lfilter

from tests.reference.mujoco_bodies import three_bodies

STEP_S = 0.004
GRAVITY = 9.80665
RADIUS_M, RIM_KG_M2, WHEEL_KG, FRAME_KG, RIDER_KG = 0.14, 0.09, 9.0, 7.0, 80.0
POLE_PAIRS = 15
SWITCH_OHM = 0.003
AIR_KG_M3 = 1.225
_HEIGHT_M = 1.05
SIGNALS = (
    "current", "speed", "pitch", "rate", "along", "grade", "forward_force", "upward_force",
)  # fmt: skip
MAPPING = """\
confirmed = true
board = { use = "lender_15", drive = { use = "inverter_110", standby_power_w = 6.0 } }
rider_mass_kg = 80.0
[columns]
time_s = { column = "t", unit = "s" }
current_a = { column = "motor_a", unit = "A" }
speed_mps = { column = "wheel_rpm", unit = "rpm" }
bus_v = { column = "pack_v", unit = "V" }
pack_a = { column = "pack_a", unit = "A" }
pitch_rad = { column = "pitch_deg", unit = "deg" }
pitch_rate_rad_per_s = { column = "gyro_dps", unit = "deg/s" }
forward_force_mps2 = { column = "accel_x", unit = "m/s2" }
upward_force_mps2 = { column = "accel_z", unit = "m/s2" }
duty_ratio = { column = "duty", unit = "ratio" }
altitude_m = { column = "altitude", unit = "m" }
"""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Truth:
    """What the ride was made with."""

    kv_rpm_per_v: float
    phase_resistance_ohm: float
    phase_inductance_h: float
    rolling_ratio: float
    drag_area_m2: float
    rest_voltage_v: float
    rest_fall_v_per_ah: float
    series_resistance_ohm: float
    rc_resistance_ohm: float
    rc_time_s: float
    inner_gain_a_per_deg: float
    inner_band_deg: float
    base_gain_a_per_deg: float
    rate_gain_a_per_deg_per_s: float
    attitude_time_s: float
    gyro_bias_deg_per_s: float

    @property
    def torque_per_amp(self):
        """Torque constant: three halves of the flux linkage times pole pairs."""
        return 1.5 * 60.0 / (2.0 * math.pi * math.sqrt(3.0) * self.kv_rpm_per_v)

    @property
    def expected_current_a_per_mps2(self):
        """Force balance of a rolling wheel."""
        felt_kg = RIDER_KG + WHEEL_KG + FRAME_KG + RIM_KG_M2 / RADIUS_M**2
        return felt_kg * RADIUS_M / self.torque_per_amp


def drawn_truth(seed):
    """Return the numbers of a seed's board, within a quarter of invented middle values."""
    random = np.random.default_rng([seed, 1])

    def near(middle):
        return middle * random.uniform(0.8, 1.25)

    return Truth(
        kv_rpm_per_v=near(15.0),
        phase_resistance_ohm=near(0.05),
        phase_inductance_h=near(1.2e-4),
        rolling_ratio=near(0.02),
        drag_area_m2=near(0.6),
        rest_voltage_v=random.uniform(54.0, 60.0),
        rest_fall_v_per_ah=near(1.4),
        series_resistance_ohm=near(0.08),
        rc_resistance_ohm=near(0.05),
        rc_time_s=near(20.0),
        inner_gain_a_per_deg=near(8.0),
        inner_band_deg=near(1.2),
        base_gain_a_per_deg=near(4.5),
        rate_gain_a_per_deg_per_s=near(0.7),
        attitude_time_s=near(3.0),
        gyro_bias_deg_per_s=random.uniform(-0.3, 0.3),
    )


def _bodies():
    mass, height = RIDER_KG, _HEIGHT_M
    return three_bodies(
        {
            "frame_mh_kg_m": FRAME_KG * 0.02,
            "frame_mass_kg": FRAME_KG,
            "frame_j_kg_m2": 0.45 + FRAME_KG * 0.02**2,
            "rider_mh_kg_m": mass * height,
            "mass_kg": mass,
            "rider_j_kg_m2": 1.15 * mass * height**2,
            "rolling_mass_kg": mass + FRAME_KG + WHEEL_KG + RIM_KG_M2 / RADIUS_M**2,
            "moving_mass_kg": mass + FRAME_KG + WHEEL_KG,
            "wheel_mass_kg": WHEEL_KG,
        },
        grade_rad=0.0,
        gravity_mps2=GRAVITY,
        step_s=STEP_S,
    )


def _curve(truth, error_deg):
    size = abs(error_deg)
    near = min(size, truth.inner_band_deg)
    far = max(size - truth.inner_band_deg, 0.0)
    return math.copysign(
        truth.inner_gain_a_per_deg * near + truth.base_gain_a_per_deg * far, error_deg
    )


def ridden(truth, *, seed, duration_s):
    """Return the true signals of a ride over rolling ground, every `STEP_S`."""
    random = np.random.default_rng([seed, 2])
    model = _bodies()
    data = mujoco.MjData(model)
    n_steps = round(duration_s / STEP_S)
    asked = np.repeat(random.uniform(1.5, 9.0, n_steps // 1500 + 1), 1500)[:n_steps]
    asked = lfilter([0.004], [1.0, -0.996], asked, zi=[0.996 * 4.0])[0]
    sway = lfilter([0.02], [1.0, -0.98], random.normal(0.0, 60.0, n_steps))
    phase = random.uniform(0.0, 2.0 * math.pi, 2)
    weight = (RIDER_KG + WHEEL_KG + FRAME_KG) * GRAVITY
    mgh = RIDER_KG * GRAVITY * _HEIGHT_M
    per_amp = truth.torque_per_amp
    kept = np.empty((n_steps, len(SIGNALS)))
    bias = math.radians(truth.gyro_bias_deg_per_s)
    data.qvel[0] = 4.0
    qpos, qvel, force, gravity = data.qpos, data.qvel, data.qfrc_applied, model.opt.gravity
    seen, before = 0.0, 4.0
    for step in range(n_steps):
        speed, tilt_rate, lean_rate = qvel.tolist()
        along, tilt, lean = qpos.tolist()
        grade, turning = _grade(along, phase)
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
        current = _curve(truth, math.degrees(seen)) + (
            truth.rate_gain_a_per_deg_per_s * math.degrees(rate)
        )
        current = min(max(current, -110.0), 110.0)
        wish = min(max(0.5 * (asked[step] - speed), -1.3), 1.3)
        reference = (wish / GRAVITY + grade) * 1.1 + 0.01
        foot = -0.9 * mgh * (upright - reference) - 0.3 * mgh * lean_rate + sway[step]
        foot = min(max(foot, -90.0), 90.0)
        torque = per_amp * current
        held_back = truth.rolling_ratio * weight * math.cos(grade) * math.copysign(1.0, speed)
        held_back += 0.5 * AIR_KG_M3 * truth.drag_area_m2 * speed * abs(speed)
        force[0] = torque / RADIUS_M - held_back
        force[1] = -torque - foot
        force[2] = foot
        gravity[0], gravity[2] = -GRAVITY * math.sin(grade), -GRAVITY * math.cos(grade)
        kept[step] = (current, speed, seen, rate, along, grade, forward_force, upward_force)
        mujoco.mj_step(model, data)
    return dict(zip(SIGNALS, kept.T, strict=True))


def _grade(along, phase):
    """Return the slope of rolling ground in rad, and how it turns in rad/m."""
    long, short = along / 60.0 + phase[0], along / 23.0 + phase[1]
    grade = 0.02 * math.sin(long) + 0.015 * math.sin(short)
    return grade, 0.02 / 60.0 * math.cos(long) + 0.015 / 23.0 * math.cos(short)


def _voltages(truth, signals):
    """Return phase voltage of motulator's machine, and volts and amperes of a Thevenin pack."""
    per_volt = POLE_PAIRS * truth.kv_rpm_per_v * math.pi / 30.0
    machine = SynchronousMachine(
        SynchronousMachinePars(
            n_p=POLE_PAIRS,
            R_s=truth.phase_resistance_ohm + SWITCH_OHM,
            L_d=truth.phase_inductance_h,
            L_q=truth.phase_inductance_h,
            psi_f=1.0 / math.sqrt(3.0) / per_volt,
        )
    )
    current = signals["current"]
    machine.state.psi_s = machine.par.psi_f + 1j * machine.par.L_q * current
    machine.set_outputs(None)
    machine.inp.w_M = signals["speed"] / RADIUS_M
    machine.inp.u_ss = 0.0
    phase_v = -machine.rhs()[0]
    power_w = 1.5 * np.real(phase_v * np.conj(1j * current)) + 6.0
    share = math.exp(-STEP_S / truth.rc_time_s)
    bus_v = np.full_like(current, truth.rest_voltage_v)
    for _ in range(8):
        pack_a = power_w / bus_v
        slow = lfilter([0.0, 1.0 - share], [1.0, -share], pack_a)
        drawn_ah = np.cumsum(pack_a) * STEP_S / 3600.0
        bus_v = truth.rest_voltage_v - truth.rest_fall_v_per_ah * drawn_ah
        bus_v = bus_v - truth.series_resistance_ohm * pack_a - truth.rc_resistance_ohm * slow
    return np.abs(phase_v), bus_v, pack_a


def logged(truth, *, seed, duration_s):
    """Return a ride as a recorder leaves it: noise, jitter, a gap, glitches and holes."""
    signals = ridden(truth, seed=seed, duration_s=duration_s)
    phase_v, bus_v, pack_a = _voltages(truth, signals)
    random = np.random.default_rng([seed, 3])
    keep = slice(0, None, 2)  # 125 rows a second
    n_rows = len(phase_v[keep])

    def noisy(values, sigma):
        return values[keep] + random.normal(0.0, sigma, n_rows)

    height = np.cumsum(np.sin(signals["grade"]) * signals["speed"]) * STEP_S
    wander = lfilter([1e-3], [1.0, -0.999], random.normal(0.0, 10.0, n_rows))
    table = pd.DataFrame(
        {
            "t": np.arange(n_rows) * 2.0 * STEP_S + random.uniform(-2e-4, 2e-4, n_rows),
            "motor_a": noisy(signals["current"], 0.5),
            "wheel_rpm": noisy(signals["speed"], 0.01) / RADIUS_M * 30.0 / math.pi,
            "pack_v": noisy(bus_v, 0.05),
            "pack_a": noisy(pack_a, 0.1),
            "pitch_deg": np.degrees(noisy(signals["pitch"], 1e-4)),
            "gyro_dps": np.degrees(noisy(signals["rate"], 1e-3)),
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
    return table.drop(index=range(gap, gap + 250))
