"""What a block's lanes are judged by, kept up to date at every step, and when a ride ends."""

from plant.compile import scalar
from plant.constants import DEG_PER_RAD, DT_S
from plant.kernel.lane_layout import WIDTH, Block, R
from plant.kernel.outcomes import ROLL_BACK_LIMIT_MPS, Outcome
from plant.physics.scalar_math import larger, magnitude, smaller
from plant.physics.vibration import WK_SECTIONS

_DEMAND_TIME_S = 0.03  # assumed: shorter demands pass without the nose moving
_ACCEL_TIME_S = 0.08  # assumed: what a rider feels as acceleration
_FEEL_ACCEL_MPS2 = 0.3  # assumed: weaker accelerations do not tell the feel
_LEVEL_RAD = 0.02  # assumed: a grade that a rider takes for level ground
_HARD_TAIL_RAD = 0.09  # assumed: a tail pressed 5 deg past contact has struck
_OFF_SPEED_MPS = 2.5  # assumed: further than this from the wanted speed ...
_OFF_TIME_S = 6.0  # ... for this long is a lost ride
_SETTLED_DEG = 3.0  # assumed: a start is done when the board is this near level

_NOSE_DOWN = float(Outcome.NOSE_DOWN)
_TAIL_STRIKE = float(Outcome.TAIL_STRIKE)
_RIDER_OFF = float(Outcome.RIDER_OFF)
_SPEED_LOST = float(Outcome.SPEED_LOST)
_BUS_TOO_HIGH = float(Outcome.BUS_TOO_HIGH)
_BUS_TOO_LOW = float(Outcome.BUS_TOO_LOW)
_OUTSIDE_MODEL = float(Outcome.OUTSIDE_MODEL)

_B10, _B11, _B12, _A11, _A12 = WK_SECTIONS[0]
_B20, _B21, _B22, _A21, _A22 = WK_SECTIONS[1]
_B30, _B31, _B32, _A31, _A32 = WK_SECTIONS[2]
_B40, _B41, _B42, _A41, _A42 = WK_SECTIONS[3]


@scalar
def outcome_of(
    ground_pitch: float,
    nose: float,
    tail: float,
    lean: float,
    lean_limit: float,
    speed: float,
    off_time: float,
    bus: float,
    bus_low: float,
    bus_high: float,
    valid: bool,
) -> float:
    """Return why a ride ends at this step, or 0 while it goes on; angles in rad."""
    code = 0.0
    code = _SPEED_LOST if (speed < -ROLL_BACK_LIMIT_MPS or off_time > _OFF_TIME_S) else code
    code = _BUS_TOO_LOW if bus < bus_low else code
    code = _BUS_TOO_HIGH if bus > bus_high else code
    code = _RIDER_OFF if magnitude(lean) > lean_limit else code
    code = _TAIL_STRIKE if ground_pitch < -tail - _HARD_TAIL_RAD else code
    code = _NOSE_DOWN if ground_pitch > nose else code
    return code if valid else _OUTSIDE_MODEL


@scalar
def section(
    x: float, z1: float, z2: float, b0: float, b1: float, b2: float, a1: float, a2: float
) -> tuple[float, float, float]:
    """Return output and both states of a second-order filter section (transposed form II)."""
    y = b0 * x + z1
    return y, b1 * x - a1 * y + z2, b2 * x - a2 * y


@scalar
def measure(b: Block, hold: float, count: float, rise: float) -> None:
    """Update every accumulator of the living lanes and end the rides that are over."""
    for k in range(WIDTH):
        alive = b[R.alive + k]
        pitch = b[R.pitch_rad + k]
        lean = b[R.lean_rad + k]
        speed = b[R.speed_mps + k]
        current = b[R.current_a + k]
        size = magnitude(current)
        pitch_deg = pitch * DEG_PER_RAD
        # Comparisons are false for NaN, so a lane that left the numbers is not valid.
        valid = (
            magnitude(pitch) < 1.0
            and magnitude(lean) < 1.0
            and magnitude(speed) < 40.0
            and size < 2000.0
            and magnitude(b[R.wheel_height_m + k]) < 2.0
        )
        live = alive if valid else 0.0
        dt = DT_S * live
        off = magnitude(speed - b[R.speed_wanted_now_mps + k]) > _OFF_SPEED_MPS
        off_time = (b[R.off_time_s + k] + dt) if off else 0.0
        b[R.off_time_s + k] = off_time
        code = outcome_of(
            b[R.ground_pitch_rad + k],
            b[R.nose_contact_rad + k],
            b[R.tail_contact_rad + k],
            lean,
            b[R.step_off_lean_rad + k],
            speed,
            off_time,
            b[R.bus_v + k],
            b[R.bus_low_v + k],
            b[R.bus_high_v + k],
            valid,
        )
        b[R.outcome + k] = code if alive > 0.5 else b[R.outcome + k]
        b[R.alive + k] = alive if code == 0.0 else 0.0
        on = live > 0.5
        back = -speed
        most = b[R.roll_back + k]
        b[R.roll_back + k] = back if (on and back > most) else most

        b[R.ride_time_s + k] += dt
        held = dt * hold if on else 0.0
        rate_deg = b[R.pitch_rate_radps + k] * DEG_PER_RAD
        b[R.hold_time_s + k] += held
        b[R.hold_square_deg2_s + k] += (held * pitch_deg * pitch_deg) if on else 0.0
        b[R.hold_rate_square + k] += (held * rate_deg * rate_deg) if on else 0.0

        peak = b[R.peak_a + k]
        b[R.peak_a + k] = size if (on and size > peak) else peak
        excess = size - magnitude(b[R.need_a + k])
        most = b[R.counted_excess_a + k]
        b[R.counted_excess_a + k] = excess if (on and count > 0.5 and excess > most) else most

        demand = b[R.demand_a + k]
        demand += (b[R.current_raw_a + k] - demand) * (DT_S / _DEMAND_TIME_S)
        b[R.demand_a + k] = demand
        reserve = (b[R.available_high_a + k] - demand) * b[R.per_phase_limit + k]
        least = b[R.least_reserve + k]
        b[R.least_reserve + k] = reserve if (on and reserve < least) else least
        margin = 1.0 - b[R.ground_pitch_rad + k] * b[R.per_nose_contact + k]
        least = b[R.least_nose_margin + k]
        b[R.least_nose_margin + k] = margin if (on and margin < least) else least

        smooth = b[R.accel_smooth_mps2 + k]
        smooth += (b[R.accel_mps2 + k] - smooth) * (DT_S / _ACCEL_TIME_S)
        b[R.accel_smooth_mps2 + k] = smooth
        smoother = b[R.accel_smoother_mps2 + k]
        change = (smooth - smoother) / _ACCEL_TIME_S
        b[R.accel_smoother_mps2 + k] = smoother + change * DT_S
        # On a slope the pitch answers the load; a start is not yet riding; a bump is not asked.
        level = magnitude(b[R.road_grade_rad + k]) < _LEVEL_RAD and b[R.support + k] < 0.5
        asked = b[R.accel_wanted_mps2 + k] > _FEEL_ACCEL_MPS2
        telling = on and level and asked and smooth > _FEEL_ACCEL_MPS2
        b[R.feel_product + k] += (smooth * pitch_deg * dt) if telling else 0.0
        b[R.feel_square + k] += (smooth * smooth * dt) if telling else 0.0

        free = b[R.support + k] < 0.5
        effort = -b[R.board_moment_nm + k] * b[R.per_standing_limit + k]
        most = b[R.tail_effort + k]
        b[R.tail_effort + k] = effort if (on and free and effort > most) else most

        tail_start = b[R.start_tail_rad + k] < 0.0
        jerk = magnitude(change) if (tail_start and b[R.engaged + k] > 0.5) else 0.0
        most = b[R.start_jerk + k]
        b[R.start_jerk + k] = jerk if (on and jerk > most) else most
        settled = b[R.authority + k] >= 1.0 and magnitude(pitch_deg) < _SETTLED_DEG
        started = larger(b[R.started_s + k], 1.0 if settled else 0.0)
        b[R.started_s + k] = started
        b[R.start_time_s + k] += dt if (on and rise > 0.0 and started < 0.5) else 0.0

        load = larger(b[R.wheel_load_n + k] * b[R.road_friction_ratio + k], 1.0)
        share = smaller(magnitude(b[R.traction_n + k]) / load, 1.0)
        most = b[R.traction_peak + k]
        b[R.traction_peak + k] = share if (on and share > most) else most

        # The step's mean acceleration: a sample at its end would weigh the road's corners double.
        rise_now = b[R.wheel_rise_mps + k]
        wheel_accel = (rise_now - b[R.wheel_rise_was + k]) / DT_S
        b[R.wheel_rise_was + k] = rise_now
        y, z1, z2 = section(
            wheel_accel if on else 0.0,
            b[R.weighting_1 + k],
            b[R.weighting_2 + k],
            _B10,
            _B11,
            _B12,
            _A11,
            _A12,
        )
        b[R.weighting_1 + k] = z1
        b[R.weighting_2 + k] = z2
        y, z1, z2 = section(
            y, b[R.weighting_3 + k], b[R.weighting_4 + k], _B20, _B21, _B22, _A21, _A22
        )
        b[R.weighting_3 + k] = z1
        b[R.weighting_4 + k] = z2
        y, z1, z2 = section(
            y, b[R.weighting_5 + k], b[R.weighting_6 + k], _B30, _B31, _B32, _A31, _A32
        )
        b[R.weighting_5 + k] = z1
        b[R.weighting_6 + k] = z2
        y, z1, z2 = section(
            y, b[R.weighting_7 + k], b[R.weighting_8 + k], _B40, _B41, _B42, _A41, _A42
        )
        b[R.weighting_7 + k] = z1
        b[R.weighting_8 + k] = z2
        b[R.vibration_square + k] += (y * y * dt) if on else 0.0

        bus = b[R.bus_v + k]
        b[R.energy_j + k] += (bus * b[R.battery_a + k] * dt) if on else 0.0
        b[R.mosfet_peak + k] = (
            larger(b[R.mosfet_c + k], b[R.mosfet_peak + k]) if on else b[R.mosfet_peak + k]
        )
        b[R.winding_peak + k] = (
            larger(b[R.winding_c + k], b[R.winding_peak + k]) if on else b[R.winding_peak + k]
        )
        b[R.bus_high + k] = larger(bus, b[R.bus_high + k]) if on else b[R.bus_high + k]
        b[R.bus_low + k] = smaller(bus, b[R.bus_low + k]) if on else b[R.bus_low + k]
        pack = b[R.battery_a + k]
        b[R.battery_peak + k] = larger(pack, b[R.battery_peak + k]) if on else b[R.battery_peak + k]
        b[R.warning_time + k] += dt if b[R.warning_now_deg + k] > 0.5 else 0.0
