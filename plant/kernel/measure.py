"""What a block's lanes are judged by, kept up to date at every step, and when a ride ends."""

from plant.compile import scalar
from plant.constants import DEG_PER_RAD, DT_S, WARNING_PERCEIVED_DEG
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
def greatest(on: bool, value: float, most: float) -> float:
    """Return the largest value so far of a living lane."""
    return larger(value, most) if on else most


@scalar
def least(on: bool, value: float, lowest: float) -> float:
    """Return the smallest value so far of a living lane."""
    return smaller(value, lowest) if on else lowest


@scalar
def is_valid(b: Block, k: int) -> bool:
    """Return whether the lane is one that the model can describe.

    Comparisons are false for NaN, so a lane that left the numbers is not valid.
    """
    return (
        magnitude(b[R.pitch_rad + k]) < 1.0
        and magnitude(b[R.lean_rad + k]) < 1.0
        and magnitude(b[R.speed_mps + k]) < 40.0
        and magnitude(b[R.current_a + k]) < 2000.0
        and magnitude(b[R.wheel_height_m + k]) < 2.0
    )


@scalar
def judge(b: Block, k: int, dt: float, valid: bool) -> None:
    """Advance how long the speed is lost, and end the ride if it is over."""
    alive = b[R.alive + k]
    speed = b[R.speed_mps + k]
    off = magnitude(speed - b[R.speed_wanted_now_mps + k]) > _OFF_SPEED_MPS
    off_time = (b[R.off_time_s + k] + dt) if off else 0.0
    b[R.off_time_s + k] = off_time
    code = outcome_of(
        b[R.ground_pitch_rad + k],
        b[R.nose_contact_rad + k],
        b[R.tail_contact_rad + k],
        b[R.lean_rad + k],
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


@scalar
def measure_holding(b: Block, k: int, on: bool, held: float) -> None:
    """Add `held` s to what the board was held level for, and what pitch and rate did meanwhile."""
    pitch_deg = b[R.pitch_rad + k] * DEG_PER_RAD
    rate_deg = b[R.pitch_rate_radps + k] * DEG_PER_RAD
    b[R.hold_time_s + k] += held
    b[R.hold_pitch_deg_s + k] += (held * pitch_deg) if on else 0.0
    b[R.hold_pitch_most + k] = greatest(on and held > 0.0, pitch_deg, b[R.hold_pitch_most + k])
    b[R.hold_square_deg2_s + k] += (held * pitch_deg * pitch_deg) if on else 0.0
    b[R.hold_rate_square + k] += (held * rate_deg * rate_deg) if on else 0.0


@scalar
def measure_peaks(b: Block, k: int, on: bool, count: float) -> None:
    """Keep the peaks of current, roll-back and traction."""
    size = magnitude(b[R.current_a + k])
    b[R.roll_back + k] = greatest(on, -b[R.speed_mps + k], b[R.roll_back + k])
    b[R.peak_a + k] = greatest(on, size, b[R.peak_a + k])
    excess = size - magnitude(b[R.need_a + k])
    b[R.counted_excess_a + k] = greatest(on and count > 0.5, excess, b[R.counted_excess_a + k])
    load = larger(b[R.wheel_load_n + k] * b[R.road_friction_ratio + k], 1.0)
    share = smaller(magnitude(b[R.traction_n + k]) / load, 1.0)
    b[R.traction_peak + k] = greatest(on, share, b[R.traction_peak + k])


@scalar
def measure_margins(b: Block, k: int, on: bool) -> None:
    """Keep the least reserve of torque and the least margin of pitch to nose contact."""
    demand = b[R.demand_a + k]
    demand += (b[R.current_raw_a + k] - demand) * (DT_S / _DEMAND_TIME_S)
    b[R.demand_a + k] = demand
    reserve = (b[R.available_high_a + k] - demand) * b[R.per_phase_limit + k]
    b[R.least_reserve + k] = least(on, reserve, b[R.least_reserve + k])
    margin = 1.0 - b[R.ground_pitch_rad + k] * b[R.per_nose_contact + k]
    b[R.least_nose_margin + k] = least(on, margin, b[R.least_nose_margin + k])


@scalar
def measure_feel(b: Block, k: int, on: bool, dt: float) -> float:
    """Advance what tells the pitch per acceleration, and per braking; return the jerk in m/s3."""
    smooth = b[R.accel_smooth_mps2 + k]
    smooth += (b[R.accel_mps2 + k] - smooth) * (DT_S / _ACCEL_TIME_S)
    b[R.accel_smooth_mps2 + k] = smooth
    smoother = b[R.accel_smoother_mps2 + k]
    change: float = (smooth - smoother) / _ACCEL_TIME_S
    b[R.accel_smoother_mps2 + k] = smoother + change * DT_S
    # On a slope the pitch answers the load; a start is not yet riding; a bump is not asked.
    level = magnitude(b[R.road_grade_rad + k]) < _LEVEL_RAD and b[R.support + k] < 0.5
    wanted = b[R.accel_wanted_mps2 + k]
    gains = on and level and smaller(wanted, smooth) > _FEEL_ACCEL_MPS2
    brakes = on and level and larger(wanted, smooth) < -_FEEL_ACCEL_MPS2
    product = smooth * (b[R.pitch_rad + k] * DEG_PER_RAD) * dt
    square = smooth * smooth * dt
    b[R.feel_product + k] += product if gains else 0.0
    b[R.feel_square + k] += square if gains else 0.0
    b[R.braking_product + k] += product if brakes else 0.0
    b[R.braking_square + k] += square if brakes else 0.0
    return change


@scalar
def measure_start(b: Block, k: int, on: bool, dt: float, jerk: float, rise: float) -> None:
    """Keep the rider's effort on the tail, and jerk and time of a tail-down start."""
    free = b[R.support + k] < 0.5
    effort = -b[R.board_moment_nm + k] * b[R.per_standing_limit + k]
    b[R.tail_effort + k] = greatest(on and free, effort, b[R.tail_effort + k])
    tail_start = b[R.start_tail_rad + k] < 0.0
    starts = on and tail_start and b[R.engaged + k] > 0.5
    b[R.start_jerk + k] = greatest(starts, magnitude(jerk), b[R.start_jerk + k])
    pitch_deg = b[R.pitch_rad + k] * DEG_PER_RAD
    settled = b[R.authority + k] >= 1.0 and magnitude(pitch_deg) < _SETTLED_DEG
    started = larger(b[R.started_s + k], 1.0 if settled else 0.0)
    b[R.started_s + k] = started
    b[R.start_time_s + k] += dt if (on and rise > 0.0 and started < 0.5) else 0.0


@scalar
def weighted(b: Block, k: int, acceleration: float) -> float:
    """Return a vertical acceleration weighted by ISO 2631-1's Wk, section after section."""
    y, z1, z2 = section(
        acceleration,
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
    y, z1, z2 = section(y, b[R.weighting_3 + k], b[R.weighting_4 + k], _B20, _B21, _B22, _A21, _A22)
    b[R.weighting_3 + k] = z1
    b[R.weighting_4 + k] = z2
    y, z1, z2 = section(y, b[R.weighting_5 + k], b[R.weighting_6 + k], _B30, _B31, _B32, _A31, _A32)
    b[R.weighting_5 + k] = z1
    b[R.weighting_6 + k] = z2
    y, z1, z2 = section(y, b[R.weighting_7 + k], b[R.weighting_8 + k], _B40, _B41, _B42, _A41, _A42)
    b[R.weighting_7 + k] = z1
    b[R.weighting_8 + k] = z2
    return y


@scalar
def measure_vibration(b: Block, k: int, on: bool, dt: float) -> None:
    """Add the square of the weighted vertical acceleration."""
    # The step's mean acceleration: a sample at its end would weigh the road's corners double.
    rise = b[R.wheel_rise_mps + k]
    acceleration = (rise - b[R.wheel_rise_was + k]) / DT_S
    b[R.wheel_rise_was + k] = rise
    y = weighted(b, k, acceleration if on else 0.0)
    b[R.vibration_square + k] += (y * y * dt) if on else 0.0


@scalar
def measure_drive(b: Block, k: int, on: bool, dt: float) -> None:
    """Add the energy, and keep the extremes of temperature, bus voltage and pack current."""
    bus, pack = b[R.bus_v + k], b[R.battery_a + k]
    b[R.energy_j + k] += (bus * pack * dt) if on else 0.0
    b[R.mosfet_peak + k] = greatest(on, b[R.mosfet_c + k], b[R.mosfet_peak + k])
    b[R.winding_peak + k] = greatest(on, b[R.winding_c + k], b[R.winding_peak + k])
    b[R.bus_high + k] = greatest(on, bus, b[R.bus_high + k])
    b[R.bus_low + k] = least(on, bus, b[R.bus_low + k])
    b[R.battery_peak + k] = greatest(on, pack, b[R.battery_peak + k])


@scalar
def measure(b: Block, hold: float, count: float, rise: float) -> None:
    """Update every accumulator of the living lanes and end the rides that are over."""
    for k in range(WIDTH):
        valid = is_valid(b, k)
        live = b[R.alive + k] if valid else 0.0
        dt = DT_S * live
        on = live > 0.5
        judge(b, k, dt, valid)
        b[R.ride_time_s + k] += dt
        measure_holding(b, k, on, dt * hold if on else 0.0)
        measure_peaks(b, k, on, count)
        measure_margins(b, k, on)
        jerk = measure_feel(b, k, on, dt)
        measure_start(b, k, on, dt, jerk, rise)
        measure_vibration(b, k, on, dt)
        measure_drive(b, k, on, dt)
        perceived = b[R.warning_now_deg + k] >= WARNING_PERCEIVED_DEG
        b[R.warning_time + k] += dt if perceived else 0.0
