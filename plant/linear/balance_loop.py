"""The balance loop broken at the motor current, for each profile under each rider.

Around level the control law is a stiffness, a filtered damping and an integral, and, in the nested
structure, a loop on the acceleration inside; all else is judged by riding. The plant's response is
computed once, so a profile costs only its own gains.
"""

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Indices
from plant.constants import DEG_PER_RAD, DT_S, GRAVITY_MPS2
from plant.description.board import Board
from plant.description.profile_array import PROFILE_NAMES
from plant.description.rider import Rider
from plant.elementary import exponential
from plant.kernel.lane_init import lag_shares, torque_per_amp
from plant.linear.delay_systems import Complexes, Floats, frequency_response, poles, times
from plant.linear.linearised_plant import linear_ride
from plant.linear.margins import Margins, margins, nyquist_contour

# Where on the gain schedule the loop is closed: within the inner band, beyond it, and with the
# stiffness that the load response lifts on a steep hill.
GAIN_POINTS = ("inner", "base", "lifted")

_LOWEST_RADPS = 0.05  # assumed: a slower drift, 20 s and more, is no matter of balance
_HIGHEST_RADPS = 2500.0  # the sampling frequency's half is 3142
_N_FREQUENCIES = 160
# A mode draws a circle in the complex plane: points at even angles on it, in half-widths.
_ABOUT_A_MODE = np.array([math.tan(math.radians(angle)) for angle in range(-87, 88, 3)])
_SHARP_RATIO = 0.12  # a mode of more damping is resolved by the grid itself
_CHUNK = 8  # candidates at a time, so that the responses stay in the cache


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class LoopPlant:
    """Everything in the loop that no profile changes.

    Attributes
    ----------
    laplace_radps : (point,) complex128
        s along the Nyquist contour.
    step_back : (point,) complex128
        exp(-s T), by which what the control law keeps from a step before is seen.
    n_speeds : int
        At how many speeds each rider rides; each array's riders repeat for every speed.
    pitch_per_a, rate_per_a : (rider, point) complex128
        Measured pitch in rad and pitch rate in rad/s that a wanted ampere takes away.
    accel_per_a : (rider, point) complex128
        Acceleration in m/s2 by the wheel-speed tracker that a wanted ampere gives.
    n_unstable : (rider,) int64
        Poles inside the contour with the motor current held.
    """

    laplace_radps: Complexes
    step_back: Complexes
    n_speeds: int
    pitch_per_a: Complexes
    rate_per_a: Complexes
    accel_per_a: Complexes
    n_unstable: NDArray[np.int64]

    def only(self, riders: Indices) -> "LoopPlant":
        """Return the loops of some riders, each taken for one of a single speed."""
        return dataclasses.replace(
            self,
            n_speeds=1,
            pitch_per_a=self.pitch_per_a[riders],
            rate_per_a=self.rate_per_a[riders],
            accel_per_a=self.accel_per_a[riders],
            n_unstable=self.n_unstable[riders],
        )


def loop_plant(
    board: Board, riders: Sequence[Rider], *, speeds_mps: Sequence[float] = (5.0,)
) -> LoopPlant:
    """Return the response of board, rider, drive and sensors to a wanted current, at each speed.

    Frame flex twists the IMU against the motor by delta'' + 2 zeta w delta' + w^2 delta =
    -torque / I. The attitude filter trusts the gyro for `attitude_time_s`, then the
    accelerometer, which feels an acceleration a as a tilt -a / g. The wheel-speed tracker, a loop
    of second order, sees the rotor turn against the board. Bodies, frame, gyro and current move
    continuously; what the controller works out once a step, every `DT_S`, is written with its
    step back, exp(-s T), as the kernel does it. Hold and compute are `loop_delay_s`.
    """
    system = linear_ride(board, riders, speeds_mps=speeds_mps)
    modes = poles(system)
    flex = 2.0 * math.pi * board.frame.flex_frequency_hz
    s = nyquist_contour(_frequencies(flex, board.frame.flex_damping_ratio, modes))
    pitch, rate, accel = np.moveaxis(frequency_response(system, s), 1, 0)
    twist_accel = -torque_per_amp(board.motor.kv_rpm_per_v) / board.frame.frame_inertia_kg_m2
    twist = twist_accel / (
        times(s, s) + 2.0 * board.frame.flex_damping_ratio * flex * s + flex * flex
    )
    gyro = (rate + times(s, twist)) / (1.0 + board.sensors.gyro_lag_s * s)
    upright = pitch + twist - accel / GRAVITY_MPS2
    back = np.exp(-DT_S * s)
    time_s = board.sensors.attitude_time_s
    attitude = DT_S * (gyro + upright / time_s) / (1.0 - (1.0 - DT_S / time_s) * back)
    drive = np.exp(-board.drive.loop_delay_s * s) / (1.0 + board.drive.current_lag_s * s)
    rim_accel = accel - board.wheel.wheel_radius_m * times(s, rate)
    tracked = times(_tracker(s, back, board.sensors.speed_tracking_hz), drive)
    n_unstable = [np.count_nonzero((p.real > 0.0) & (np.abs(p) > _LOWEST_RADPS)) for p in modes]
    return LoopPlant(
        laplace_radps=s,
        step_back=back,
        n_speeds=len(speeds_mps),
        pitch_per_a=-times(attitude, drive),
        rate_per_a=-times(gyro, drive),
        accel_per_a=times(rim_accel, tracked),
        n_unstable=np.array(n_unstable, dtype=np.int64),
    )


def _tracker(s: Complexes, back: Complexes, tracking_hz: float) -> Complexes:
    """Return the change of the tracked wheel speed in each step over the wheel's acceleration.

    The loop follows the rotor's angle; its speed is differenced once more.
    """
    turned = 2.0 * math.pi * tracking_hz * DT_S
    change = 1.0 - back
    lag = times(change, change) + turned * times(back, 2.0 * change + turned * back)
    mean = change / (DT_S * s)
    tracked: Complexes = turned**2 * times(mean, mean) / lag
    return tracked


def _frequencies(flex: float, flex_damping: float, modes: Sequence[Complexes]) -> Floats:
    """Return a logarithmic grid, denser about the frame mode and every sharp pole."""
    ends = (math.log(_LOWEST_RADPS), math.log(_HIGHEST_RADPS))
    grid = [exponential(np.linspace(*ends, _N_FREQUENCIES)[1:-1])]
    grid.append(np.array([_LOWEST_RADPS, _HIGHEST_RADPS]))
    poles = np.append(np.concatenate(modes), flex * complex(-flex_damping, 1.0))
    # Where the points lie need not be exact, and a library's poles differ in their last bits.
    places = [(float(f"{pole.real:.4g}"), float(f"{pole.imag:.4g}")) for pole in poles.tolist()]
    grid += [
        imag + _ABOUT_A_MODE * max(abs(real), 1e-3 * imag)
        for real, imag in places
        if imag > _LOWEST_RADPS and abs(real) < _SHARP_RATIO * imag
    ]
    merged = np.unique(np.concatenate(grid))
    return merged[(merged >= _LOWEST_RADPS) & (merged <= _HIGHEST_RADPS)]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class LoopGains:
    """What the control law does about level.

    Attributes
    ----------
    stiffness_a_per_deg : (candidate, gain point) float64
        In the order of `GAIN_POINTS`.
    rate_gain_a_per_deg_per_s, rate_filter_hz, integral_gain_a_per_deg_s : (candidate,) float64
    expected_current_a_per_mps2 : (candidate,) float64
        What makes a wanted acceleration of the pitch loop's current.
    feed_forward_ratio, acceleration_gain_a_per_mps2, acceleration_integral_a_per_mps,
    acceleration_filter_hz : (candidate,) float64
        The loop inside.
    """

    stiffness_a_per_deg: Floats
    rate_gain_a_per_deg_per_s: Floats
    rate_filter_hz: Floats
    integral_gain_a_per_deg_s: Floats
    expected_current_a_per_mps2: Floats
    feed_forward_ratio: Floats
    acceleration_gain_a_per_mps2: Floats
    acceleration_integral_a_per_mps: Floats
    acceleration_filter_hz: Floats

    @property
    def nested(self) -> bool:
        """Whether any candidate has a loop inside."""
        alone = (self.feed_forward_ratio == 1.0) & (self.acceleration_gain_a_per_mps2 == 0.0)
        return not bool(np.all(alone & (self.acceleration_integral_a_per_mps == 0.0)))


def loop_gains(profiles: Floats) -> LoopGains:
    """Return the gains of each profile, (candidate, parameter), at each gain point."""

    def column(name: str) -> Floats:
        return profiles[:, PROFILE_NAMES.index(name)]

    base = column("base_gain_a_per_deg")
    inner = np.where(column("inner_band_deg") > 0.0, column("inner_gain_a_per_deg"), base)
    lifts = column("stiffness_lift_per_mps2") > 0.0
    lift = np.where(lifts, column("stiffness_lift_cap_ratio"), 1.0)
    return LoopGains(
        stiffness_a_per_deg=np.stack([inner, base, lift * np.maximum(inner, base)], axis=1),
        **{
            field.name: column(field.name)
            for field in dataclasses.fields(LoopGains)
            if field.name in PROFILE_NAMES
        },
    )


def loop_transfer(plant: LoopPlant, gains: LoopGains) -> Complexes:
    """Return L for 1 / (1 + L), (candidate, gain point, rider, point) complex128."""
    rate = gains.rate_gain_a_per_deg_per_s[:, None] * _filtered(plant, gains.rate_filter_hz)
    steady = times((rate * DEG_PER_RAD)[:, None], plant.rate_per_a)
    integral = gains.integral_gain_a_per_deg_s[:, None] * (DEG_PER_RAD * _summed(plant))
    steady += times(integral[:, None], plant.pitch_per_a)
    stiffness = (DEG_PER_RAD * gains.stiffness_a_per_deg)[:, :, None, None]
    loop: Complexes = stiffness * plant.pitch_per_a
    loop += steady[:, None]
    return _nested(plant, gains, loop) if gains.nested else loop


def _filtered(plant: LoopPlant, filter_hz: Floats) -> Complexes:
    """Return the law's filter of first order, (candidate, point): it goes its share each step."""
    share = lag_shares(2.0 * np.pi * DT_S * filter_hz)[:, None]
    filtered: Complexes = share / (1.0 - (1.0 - share) * plant.step_back)
    return filtered


def _summed(plant: LoopPlant) -> Complexes:
    """Return the law's integral over time in s, (point,): a step's own is added after its use."""
    summed: Complexes = DT_S * plant.step_back / (1.0 - plant.step_back)
    return summed


def _nested(plant: LoopPlant, gains: LoopGains, outer: Complexes) -> Complexes:
    """Return the loop with the acceleration loop inside, from that of the pitch loop alone.

    With the inner controller g, the pitch loop's current o and the expected current E, the motor
    is asked for f o + g (o / E - a): both paths close through the same ampere.
    """
    inner = gains.acceleration_gain_a_per_mps2[:, None] + (
        gains.acceleration_integral_a_per_mps[:, None] * _summed(plant)
    )
    passed = gains.feed_forward_ratio[:, None] + inner / gains.expected_current_a_per_mps2[:, None]
    seen = times(inner, _filtered(plant, gains.acceleration_filter_hz))
    loop = times(passed[:, None, None, :], outer)
    loop += times(seen[:, None, None, :], plant.accel_per_a)
    return loop


def of_each_rider(margins: Margins, n_riders: int) -> Margins:
    """Return each rider's margins where the loop comes nearest to instability.

    Parameters
    ----------
    margins : Margins
        Arrays of (candidate, gain point, rider), riders repeated for every speed and variant.
    n_riders : int
    """

    def by_rider(values: NDArray[Any]) -> NDArray[Any]:
        return values.reshape(*values.shape[:-1], -1, n_riders)

    side = np.where(margins.stable, 1.0, -1.0)
    worst = np.argmin(by_rider(side * margins.modulus), axis=-2)[..., None, :]
    return Margins(
        **{
            field.name: np.take_along_axis(by_rider(getattr(margins, field.name)), worst, axis=-2)[
                ..., 0, :
            ]
            for field in dataclasses.fields(Margins)
        }
    )


def loop_margins(plant: LoopPlant, gains: LoopGains) -> Margins:
    """Return the margins of every loop, each array (candidate, gain point, rider)."""
    n_candidates = len(gains.rate_filter_hz)
    parts = []
    for start in range(0, max(n_candidates, 1), _CHUNK):
        chunk = LoopGains(
            **{
                field.name: getattr(gains, field.name)[start : start + _CHUNK]
                for field in dataclasses.fields(LoopGains)
            }
        )
        parts.append(margins(plant.laplace_radps, loop_transfer(plant, chunk), plant.n_unstable))
    return Margins(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in dataclasses.fields(Margins)
        }
    )
