"""What a ride log may hold: each channel with its meaning, units, plausible range and habits."""

import dataclasses
import math
from collections.abc import Mapping

from plant.constants import DEG_PER_RAD, GRAVITY_MPS2
from plant.description.board import Board

ISO_TIME = "ISO 8601"  # text, as in 2025-06-01T12:00:00.250Z
_TIME = {"s": 1.0, "ms": 1e-3, "us": 1e-6, ISO_TIME: 1.0}
_CURRENT = {"A": 1.0, "mA": 1e-3}
_VOLTAGE = {"V": 1.0, "mV": 1e-3}
# Units of wheel speed that need the wheel's radius, and the motor's pole pairs.
WHEEL_RPM, ELECTRICAL_RPM, WHEEL_RAD_PER_S = "rpm", "electrical rpm", "rad/s"
_SPEED = {
    "m/s": 1.0,
    "km/h": 1.0 / 3.6,
    "mph": 0.44704,  # the international mile, exact
    WHEEL_RPM: math.nan,
    ELECTRICAL_RPM: math.nan,
    WHEEL_RAD_PER_S: math.nan,
}
_ANGLE = {"rad": 1.0, "deg": 1.0 / DEG_PER_RAD}
_RATE = {"rad/s": 1.0, "deg/s": 1.0 / DEG_PER_RAD}
_RATIO = {"ratio": 1.0, "%": 0.01}
_TEMPERATURE = {"degC": 1.0, "K": 1.0, "degF": 5.0 / 9.0}
_OFFSET = {"K": -273.15, "degF": -32.0 * 5.0 / 9.0}
_LENGTH = {"m": 1.0, "ft": 0.3048}
_ACCELERATION = {"m/s2": 1.0, "g": GRAVITY_MPS2}


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One quantity of a log.

    Attributes
    ----------
    text : str
        What it is, with the direction of its sign.
    units : mapping of unit to factor
        Factor to the unit that ends the channel's name; NaN where it depends on the wheel.
    low, high : float
        Outside of these a value, in the channel's own unit, can not be true.
    words : tuple of str
        Words that a column's header uses for it, the most telling first.
    stuck_s : float
        A sensor that shows one value for longer, while others move, is taken for stuck.
    clips : bool
        Whether the sensor's range is short enough for a ride to reach its end.
    """

    text: str
    units: Mapping[str, float]
    low: float
    high: float
    words: tuple[str, ...]
    stuck_s: float = math.inf
    clips: bool = False


CHANNELS: Mapping[str, Channel] = {
    "time_s": Channel(
        text="time", units=_TIME, low=-1e12, high=1e12, words=("time", "timestamp", "t", "elapsed")
    ),
    "current_a": Channel(
        text="motor current (q-axis, amplitude-invariant), positive driving forward",
        units=_CURRENT,
        low=-600.0,
        high=600.0,
        words=("motor current", "phase current", "iq", "q current", "current", "amps"),
        stuck_s=2.0,
        clips=True,
    ),
    "speed_mps": Channel(
        text="wheel speed, positive forward",
        units=_SPEED,
        low=-25.0,
        high=25.0,
        words=("wheel speed", "rpm", "erpm", "speed", "velocity"),
        stuck_s=2.0,
    ),
    "bus_v": Channel(
        text="pack voltage at the drive",
        units=_VOLTAGE,
        low=4.0,
        high=300.0,
        words=("pack voltage", "battery voltage", "bus voltage", "voltage", "volts", "vbus"),
        stuck_s=30.0,
    ),
    "pack_a": Channel(
        text="pack current, positive discharging",
        units=_CURRENT,
        low=-400.0,
        high=400.0,
        words=("pack current", "battery current", "bus current", "input current", "dc current"),
        stuck_s=5.0,
        clips=True,
    ),
    "pitch_rad": Channel(
        text="pitch as the controller sees it, positive nose down",
        units=_ANGLE,
        low=-1.6,
        high=1.6,
        words=("pitch", "attitude", "tilt"),
        stuck_s=2.0,
        clips=True,
    ),
    "pitch_rate_rad_per_s": Channel(
        text="pitch rate from the gyro, positive nose going down",
        units=_RATE,
        low=-35.0,
        high=35.0,
        words=("pitch rate", "gyro pitch", "gyro y", "gyro", "rate"),
        stuck_s=1.0,
        clips=True,
    ),
    "yaw_rate_rad_per_s": Channel(
        text="yaw rate from the gyro, either sign",
        units=_RATE,
        low=-35.0,
        high=35.0,
        words=("yaw rate", "gyro yaw", "gyro z", "yaw"),
        stuck_s=5.0,
        clips=True,
    ),
    "forward_force_mps2": Channel(
        text="accelerometer along the board (specific force), positive forward",
        units=_ACCELERATION,
        low=-200.0,
        high=200.0,
        words=("accel x", "acc x", "forward acceleration", "ax"),
        stuck_s=2.0,
        clips=True,
    ),
    "upward_force_mps2": Channel(
        text="accelerometer across the board (specific force), about +9.8 at rest",
        units=_ACCELERATION,
        low=-200.0,
        high=200.0,
        words=("accel z", "acc z", "upward acceleration", "az"),
        stuck_s=2.0,
        clips=True,
    ),
    "duty_ratio": Channel(
        text="phase voltage over its largest, which is the pack voltage over the root of 3",
        units=_RATIO,
        low=-1.2,
        high=1.2,
        words=("duty", "modulation", "duty cycle"),
        stuck_s=5.0,
    ),
    "mosfet_c": Channel(
        text="temperature of the MOSFETs",
        units=_TEMPERATURE,
        low=-40.0,
        high=200.0,
        words=("mosfet temperature", "drive temperature", "mosfet", "inverter temp"),
        stuck_s=1800.0,
    ),
    "winding_c": Channel(
        text="temperature of the winding",
        units=_TEMPERATURE,
        low=-40.0,
        high=250.0,
        words=("winding temperature", "motor temperature", "motor temp", "winding"),
        stuck_s=1800.0,
    ),
    "altitude_m": Channel(
        text="height above any datum",
        units=_LENGTH,
        low=-500.0,
        high=9000.0,
        words=("altitude", "elevation", "height", "alt"),
    ),
}
ALWAYS_NEEDED = ("time_s",)
_NAMED_OTHERWISE = {
    "°": "deg",
    "c": "degC",
    "°c": "degC",
    "f": "degF",
    "kph": "km/h",
    "dps": "deg/s",
}


def unit_named(text: str, channel: Channel) -> str | None:
    """Return the channel's unit that a text from a header names, or None."""
    wanted = _NAMED_OTHERWISE.get(text.lower(), text).lower()
    for unit in channel.units:
        if wanted in {unit.lower(), unit.lower().replace("/", "p"), unit.lower().replace("/", "_")}:
            return unit
    return None


def to_si(channel: Channel, unit: str, board: Board) -> tuple[float, float]:
    """Return factor and offset from a unit of a channel to the one that ends its name.

    Parameters
    ----------
    channel : Channel
    unit : str
        One of the channel's.
    board : Board
        Its wheel radius and pole pairs turn revolutions into speed.
    """
    radius_m = board.wheel.wheel_radius_m
    turning = {
        WHEEL_RPM: radius_m * math.pi / 30.0,
        ELECTRICAL_RPM: radius_m * math.pi / 30.0 / board.motor.pole_pairs,
        WHEEL_RAD_PER_S: radius_m,
    }
    factor = channel.units[unit]
    return turning[unit] if math.isnan(factor) else factor, _OFFSET.get(unit, 0.0)
