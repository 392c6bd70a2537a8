"""The balance-controller profile: everything the search may choose.

Gains are in A/deg and A/(deg/s), angles in deg: the units in which builders write them. A pitch
error is positive when the nose is below the wanted level.
"""

import dataclasses

from plant.description.quantity import Kind, check_sections, quantity


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Stiffness:
    """Pitch error to motor current: a gain near level, a base gain, two knees that stiffen."""

    inner_gain_a_per_deg: float = quantity(
        "gain within the inner band", 0.0, 60.0, kind=Kind.CURRENT_GAIN
    )
    inner_band_deg: float = quantity("half-width of the band around level", 0.0, 5.0)
    base_gain_a_per_deg: float = quantity(
        "gain from the inner band to the mid knee", 0.0, 60.0, kind=Kind.CURRENT_GAIN
    )
    mid_knee_deg: float = quantity("pitch error at which the mid gain begins", 0.5, 20.0)
    mid_gain_ratio: float = quantity("mid gain over base gain", 0.2, 6.0)
    outer_knee_deg: float = quantity("pitch error at which the outer gain begins", 1.0, 30.0)
    outer_gain_ratio: float = quantity("outer gain over mid gain", 0.2, 6.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Damping:
    """Pitch rate to motor current."""

    rate_gain_a_per_deg_per_s: float = quantity(
        "gain on the filtered pitch rate", 0.0, 6.0, kind=Kind.CURRENT_GAIN
    )
    rate_filter_hz: float = quantity("cut-off of the pitch-rate low-pass filter", 2.0, 300.0)
    rate_current_cap_a: float = quantity(
        "largest current the rate damping may ask", 0.0, 300.0, kind=Kind.CURRENT
    )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Integral:
    """Pitch error accumulated into motor current, with anti-windup while the drive saturates."""

    integral_gain_a_per_deg_s: float = quantity(
        "gain on the integrated error", 0.0, 60.0, kind=Kind.CURRENT_GAIN
    )
    integral_clamp_a: float = quantity(
        "largest current of the integral", 0.0, 150.0, kind=Kind.CURRENT
    )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Braking:
    """What changes while the wanted current opposes the motion."""

    braking_stiffness_ratio: float = quantity("stiffness while braking over riding", 0.1, 3.0)
    braking_damping_ratio: float = quantity("damping while braking over riding", 0.1, 3.0)
    braking_current_cap_a: float = quantity(
        "largest braking current", 5.0, 400.0, kind=Kind.CURRENT
    )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class LoadResponse:
    """Answer to the load residual: acceleration expected from current less the measured one.

    Beyond the deadband the residual shifts the wanted pitch (nose up for a hill, nose down for a
    descent) and lifts the stiffness; downhill it also overrides soft braking.
    """

    expected_current_a_per_mps2: float = quantity(
        "current per acceleration expected", 2.0, 80.0, kind=Kind.CURRENT_GAIN
    )
    load_deadband_mps2: float = quantity("residual without effect", 0.0, 5.0)
    uphill_gain_deg_per_mps2: float = quantity("nose lift per uphill residual", 0.0, 10.0)
    downhill_gain_deg_per_mps2: float = quantity("nose drop per downhill residual", 0.0, 10.0)
    load_shift_cap_deg: float = quantity("largest shift of the wanted pitch", 0.0, 15.0)
    load_rise_deg_per_s: float = quantity("slew rate while the shift grows", 0.1, 60.0)
    load_fall_deg_per_s: float = quantity("slew rate while the shift shrinks", 0.1, 60.0)
    stiffness_lift_per_mps2: float = quantity("added stiffness ratio per residual", 0.0, 2.0)
    stiffness_lift_cap_ratio: float = quantity("largest stiffness ratio under load", 1.0, 4.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class TurnResponse:
    """Nose lift in a carve, from yaw rate times speed: slow at turn-in, strongest mid to late."""

    turn_gain_deg_per_mps2: float = quantity("nose lift per lateral acceleration", 0.0, 6.0)
    turn_build_up_s: float = quantity("time constant of each of two lags", 0.02, 3.0)
    turn_lift_cap_deg: float = quantity("largest nose lift in a turn", 0.0, 15.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    """Nose lift that warns the rider before a limit is reached."""

    reserve_warning_ratio: float = quantity("torque reserve at which the warning starts", 0.0, 0.9)
    heat_warning_margin_k: float = quantity("start below the throttle temperature", 0.0, 30.0)
    bus_warning_margin_v: float = quantity(
        "start above the low cut-out, and below where charging tapers off",
        0.0,
        10.0,
        kind=Kind.BUS_VOLTAGE,
    )
    warning_lift_deg: float = quantity("nose lift at full warning", 0.0, 15.0)
    warning_slew_deg_per_s: float = quantity("slew rate of the warning", 0.5, 60.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Engagement:
    """Torque build-up from tail-down."""

    engage_angle_deg: float = quantity("tail-down pitch at which the motor engages", 1.0, 30.0)
    torque_build_up_s: float = quantity("time from no torque to full authority", 0.01, 3.0)
    level_slew_deg_per_s: float = quantity("slew of the wanted pitch towards level", 2.0, 400.0)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class AccelerationLoop:
    """The inner loop of the nested structure: from a wanted acceleration to motor current.

    The pitch loop's current over `expected_current_a_per_mps2` is the acceleration it wants. The
    inner loop passes a share of that current on and adds what the measured acceleration lacks.
    """

    feed_forward_ratio: float = quantity("share of the pitch loop's current passed on", 0.0, 2.0)
    acceleration_gain_a_per_mps2: float = quantity(
        "current per missing acceleration", 0.0, 80.0, kind=Kind.CURRENT_GAIN
    )
    acceleration_integral_a_per_mps: float = quantity(
        "current per missing speed", 0.0, 200.0, kind=Kind.CURRENT_GAIN
    )
    acceleration_clamp_a: float = quantity(
        "largest current of the inner integral", 0.0, 150.0, kind=Kind.CURRENT
    )
    acceleration_filter_hz: float = quantity("cut-off of the measured acceleration", 0.5, 60.0)


# All of the pitch loop's current and nothing else: one loop, from pitch error to current.
SINGLE_LOOP = AccelerationLoop(
    feed_forward_ratio=1.0,
    acceleration_gain_a_per_mps2=0.0,
    acceleration_integral_a_per_mps=0.0,
    acceleration_clamp_a=0.0,
    acceleration_filter_hz=10.0,
)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One complete set of balance-controller settings.

    Without an acceleration loop of its own it is a single loop.

    Raises
    ------
    ValueError
        A number lies outside its range.
    """

    stiffness: Stiffness
    damping: Damping
    integral: Integral
    braking: Braking
    load_response: LoadResponse
    turn_response: TurnResponse
    protection: Protection
    engagement: Engagement
    acceleration_loop: AccelerationLoop = SINGLE_LOOP

    def __post_init__(self) -> None:
        check_sections(self)
