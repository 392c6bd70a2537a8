"""The balance loop broken at the motor current, for each profile under each rider.

Around level the control law is a stiffness, a filtered damping and an integral, and, in the nested
structure, a loop on the acceleration inside; all else is judged by riding. The plant's response is
computed once, so a profile costs only its own gains.
"""

import dataclasses
import functools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Indices
from plant.constants import DT_S, GRAVITY_MPS2
from plant.description.board import Board
from plant.description.profile_array import PROFILE_NAMES
from plant.description.rider import Rider
from plant.elementary import exponential
from plant.kernel.lane_init import lag_shares, torque_per_amp
from plant.linear.delay_systems import Complexes, Floats, frequency_response, poles, times
from plant.linear.linearised_plant import linear_ride
from plant.linear.loop_curves import (
    ACCEL,
    EXPECTED,
    INNER_GAIN,
    INNER_INTEGRAL,
    INNER_SHARE,
    INTEGRAL_GAIN,
    N_GAIN_POINTS,
    N_GAINS,
    PASSED_RATIO,
    PITCH,
    RATE,
    RATE_GAIN,
    RATE_SHARE,
    STEP_BACK,
    SUMMED,
    write_curves,
)
from plant.linear.margins import Margins, margins_of_curves, nyquist_contour

# Where on the gain schedule the loop is closed: within the inner band, beyond it, and with the
# stiffness that the load response lifts on a steep hill.
GAIN_POINTS = ("inner", "base", "lifted")

_LOWEST_RADPS = 0.05  # assumed: a slower drift, 20 s and more, is no matter of balance
_HIGHEST_RADPS = 2500.0  # the sampling frequency's half is 3142
_N_FREQUENCIES = 160
# A mode draws a circle in the complex plane: points at even angles on it, in half-widths.
_ABOUT_A_MODE = np.array([math.tan(math.radians(angle)) for angle in range(-87, 88, 3)])
_SHARP_RATIO = 0.12  # a mode of more damping is resolved by the grid itself
_CHUNK = 192  # loops at a time, so that their curves stay in the cache


@dataclasses.dataclass(frozen=True, kw_only=True)
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

    @functools.cached_property
    def responses(self) -> Floats:
        """The plant of each rider, (rider, row of `plant.linear.loop_curves`, point)."""
        responses = np.empty((len(self.n_unstable), 6, len(self.laplace_radps)))
        for row, response in (
            (PITCH, self.pitch_per_a),
            (RATE, self.rate_per_a),
            (ACCEL, self.accel_per_a),
        ):
            responses[:, row], responses[:, row + 1] = response.real, response.imag
        return responses

    @functools.cached_property
    def shared(self) -> Floats:
        """The law's step back and integral over time in s, (4, point), as real numbers.

        What the integral adds in a step is seen from the next on.
        """
        summed = DT_S * self.step_back / (1.0 - self.step_back)
        shared = np.empty((4, len(self.laplace_radps)))
        for row, values in ((STEP_BACK, self.step_back), (SUMMED, summed)):
            shared[row], shared[row + 1] = values.real, values.imag
        return shared

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
    def table(self) -> Floats:
        """The gains as rows of numbers, (candidate, column of `plant.linear.loop_curves`)."""
        table = np.empty((len(self.rate_filter_hz), N_GAINS))
        table[:, :N_GAIN_POINTS] = self.stiffness_a_per_deg
        table[:, RATE_GAIN] = self.rate_gain_a_per_deg_per_s
        table[:, RATE_SHARE] = _shares(self.rate_filter_hz)
        table[:, INTEGRAL_GAIN] = self.integral_gain_a_per_deg_s
        table[:, PASSED_RATIO] = self.feed_forward_ratio
        table[:, EXPECTED] = self.expected_current_a_per_mps2
        table[:, INNER_GAIN] = self.acceleration_gain_a_per_mps2
        table[:, INNER_INTEGRAL] = self.acceleration_integral_a_per_mps
        table[:, INNER_SHARE] = _shares(self.acceleration_filter_hz)
        return table


def _shares(filter_hz: Floats) -> Floats:
    """Return which share of its way a filter of first order goes each step, (candidate,)."""
    return lag_shares(2.0 * np.pi * DT_S * filter_hz)


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
    real, imag = _curves(plant, gains.table, _all_loops(plant, gains))
    loop = np.empty(real.shape, dtype=np.complex128)
    loop.real, loop.imag = real, imag
    return _by_candidate(loop, plant)


def _all_loops(plant: LoopPlant, gains: LoopGains) -> Indices:
    """Return every candidate, rider and gain point, (3, loop)."""
    shape = len(gains.rate_filter_hz), len(plant.n_unstable), len(GAIN_POINTS)
    return np.indices(shape).reshape(3, -1)


def _by_candidate(of_loops: NDArray[Any], plant: LoopPlant) -> NDArray[Any]:
    """Return what is of `_all_loops`, (loop, ...), as (candidate, gain point, rider, ...)."""
    shape = -1, len(plant.n_unstable), len(GAIN_POINTS), *of_loops.shape[1:]
    return np.ascontiguousarray(np.moveaxis(of_loops.reshape(shape), 1, 2))


def _curves(plant: LoopPlant, table: Floats, loops: Indices) -> Floats:
    """Return real and imaginary parts of some loops, (2, loop, point)."""
    curves = np.empty((2, loops.shape[1], len(plant.laplace_radps)))
    write_curves(table, plant.responses, plant.shared, np.ascontiguousarray(loops), curves)
    return curves


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
    found = margins_of(plant, gains, _all_loops(plant, gains))
    return Margins(
        **{
            field.name: _by_candidate(getattr(found, field.name), plant)
            for field in dataclasses.fields(Margins)
        }
    )


def margins_of(plant: LoopPlant, gains: LoopGains, loops: Indices) -> Margins:
    """Return the margins of some loops, each array (loop,).

    Parameters
    ----------
    plant : LoopPlant
    gains : LoopGains
    loops : (3, loop) int
        Candidate, rider and gain point of each.
    """
    table, parts = gains.table, []
    for start in range(0, max(loops.shape[1], 1), _CHUNK):
        some = loops[:, start : start + _CHUNK]
        curves = _curves(plant, table, some)
        parts.append(margins_of_curves(plant.laplace_radps, curves, plant.n_unstable[some[1]]))
    return Margins(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in dataclasses.fields(Margins)
        }
    )
