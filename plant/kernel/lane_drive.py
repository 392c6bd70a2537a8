"""Motor, pack and heat on the rows of one lane."""

from plant.compile import scalar
from plant.kernel.lane_layout import Block, R
from plant.physics.battery import bus_voltage, pack_limits, relaxed
from plant.physics.drive import current_window, losses, phase_squares
from plant.physics.heat import warmed
from plant.physics.saturation import unsaturated
from plant.physics.scalar_math import clip
from plant.physics.turning import felt_pitch_rate


@scalar
def renew_pack(b: Block, k: int) -> None:
    """Renew the pack's source voltage, and what the pack gives while the motor draws on it.

    The RC pair moves little from one renewal to the next, and so does all that follows from it.
    """
    source = b[R.cells_in_series + k] * b[R.cell_rest_v + k]
    b[R.source_v + k] = source
    square, fall, discharge_w, charge_w = pack_limits(
        source - b[R.rc_voltage_v + k],
        b[R.series_resistance_ohm + k],
        b[R.battery_current_limit_a + k],
        b[R.regen_current_limit_a + k],
        b[R.standby_power_w + k],
        b[R.bus_high_v + k],
        b[R.per_taper_v + k],
    )
    phase_square, sag = phase_squares(b[R.modulation_limit_ratio + k], square, fall)
    b[R.phase_square_v2 + k] = phase_square
    b[R.sag_ohm + k] = sag
    b[R.discharge_now_w + k] = discharge_w
    b[R.charge_now_w + k] = charge_w


@scalar
def drive(b: Block, k: int) -> tuple[float, float, float, float]:
    """Advance the current; return motor torque in N m, copper, MOSFET and electrical power in W.

    The rotor turns against the board. Torque and losses are those of the step's mean current.
    Saturated iron takes torque and back-EMF alike, so that shaft power is torque times speed; the
    window keeps the whole back-EMF, which is the safe side.
    """
    rotor = (b[R.speed_mps + k] + b[R.slip_mps + k]) * b[R.per_radius_now + k]
    rotor -= felt_pitch_rate(b[R.pitch_rate_radps + k], b[R.yaw_rate_radps + k], b[R.roll_sine + k])
    emf = b[R.emf_per_radps_v + k] * rotor
    reactance = b[R.pole_pairs + k] * rotor * b[R.phase_inductance_h + k]
    winding_r = b[R.winding_resistance_now_ohm + k]
    mosfet_r = b[R.mosfet_resistance_ohm + k]
    bus = b[R.bus_v + k]
    current = b[R.current_a + k]
    low, high, besides = current_window(
        emf,
        winding_r + mosfet_r,
        b[R.per_resistance_now + k],
        reactance,
        b[R.phase_square_v2 + k],
        b[R.sag_ohm + k],
        b[R.field_weakening_a + k],
        bus,
        b[R.limit_now_a + k],
        b[R.discharge_now_w + k],
        b[R.charge_now_w + k],
        current,
    )
    b[R.available_low_a + k] = low
    b[R.available_high_a + k] = high
    # The current loop brings the measured current to the commanded one.
    target = clip(b[R.current_commanded_a + k] - b[R.current_offset_a + k], low, high)
    way = (target - current) * b[R.alive + k]
    b[R.current_a + k] = current + way * b[R.current_share + k]
    current = target - way * b[R.current_mean_share + k]  # the step's mean
    copper, mosfet = losses(
        current, besides, winding_r, mosfet_r, b[R.switching_loss_w_per_a_v + k], bus
    )
    linear = unsaturated(current, b[R.saturation_per_square_a + k], b[R.saturation_end_a + k])
    power = 1.5 * emf * linear + copper + mosfet + b[R.standby_power_w + k]
    return b[R.torque_per_amp_nm + k] * linear, copper, mosfet, power


@scalar
def discharge(b: Block, k: int, power: float, h: float) -> None:
    """Advance bus voltage, RC pair and charge under an electrical power in W."""
    rc = b[R.rc_voltage_v + k]
    bus, pack = bus_voltage(b[R.source_v + k] - rc, b[R.series_resistance_ohm + k], power)
    b[R.bus_v + k] = bus
    b[R.battery_a + k] = pack
    b[R.power_w + k] = power
    b[R.rc_voltage_v + k] = relaxed(rc, pack, b[R.rc_resistance_ohm + k], b[R.per_rc_time + k], h)
    b[R.charge_ratio_now + k] -= pack * h * b[R.per_charge + k]


@scalar
def warm(b: Block, k: int, copper: float, mosfet: float, h: float) -> None:
    """Advance the temperatures of MOSFET and winding under their losses in W."""
    b[R.mosfet_c + k] = warmed(
        b[R.mosfet_c + k],
        mosfet,
        b[R.per_mosfet_resistance + k],
        b[R.per_mosfet_heat_capacity + k],
        h,
    )
    b[R.winding_c + k] = warmed(
        b[R.winding_c + k],
        copper,
        b[R.per_winding_resistance + k],
        b[R.per_winding_heat_capacity + k],
        h,
    )
