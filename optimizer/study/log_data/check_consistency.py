"""Whether channels agree: current with acceleration, gyro with pitch."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from optimizer.study.log_data.findings import Finding, Weight
from optimizer.study.log_data.mapping import LogMapping
from plant.arrays import Floats

_BIN_S = 0.25  # long against the balance's swing in the speed, short against an acceleration
_RATE_BIN_S = 0.05
_SURE = 0.3  # assumed: correlation from which a sign or a size is believed
# A rider with board of 30 to 200 kg on a wheel of 0.1 to 0.2 m and 0.1 to 1.5 N m/A gives
# 0.0025 to 0.5 m/s2 per A.
_LEAST_PER_A, _MOST_PER_A = 0.0025, 0.5
_LEAST_RATIO, _MOST_RATIO = 0.25, 4.0  # assumed: of the pitch's change over the pitch rate
_IN_WORDS = {"rad": "radians", "rad/s": "radians", "deg": "degrees", "deg/s": "degrees"}


class _Agreement:
    """Sums for the slope and correlation of one quantity over another."""

    def __init__(self) -> None:
        self.sums = np.zeros(6)

    def update(self, over: Floats, under: Floats) -> None:
        """Take in pairs, leaving out those that are not finite."""
        good = np.isfinite(over) & np.isfinite(under)
        y, x = over[good], under[good]
        self.sums += np.array([len(x), x.sum(), y.sum(), x @ x, y @ y, x @ y])

    def slope_and_correlation(self) -> tuple[float, float]:
        """Return slope and correlation; zero when there is nothing to see."""
        n, x, y, xx, yy, xy = self.sums
        if n < 20:
            return 0.0, 0.0
        var_x, var_y, both = xx / n - (x / n) ** 2, yy / n - (y / n) ** 2, xy / n - x * y / n**2
        if min(var_x, var_y) <= 0.0:
            return 0.0, 0.0
        return both / var_x, both / math.sqrt(var_x * var_y)


def _binned(time_s: Floats, values: Floats, bin_s: float) -> tuple[Floats, Floats]:
    """Return centres and means of the whole bins of a block whose time rises."""
    good = np.isfinite(time_s) & np.isfinite(values)
    if np.count_nonzero(good) < 2:
        return np.empty(0), np.empty(0)
    time_s, values = time_s[good], values[good]
    place = np.floor((time_s - time_s[0]) / bin_s).astype(np.int64)
    if place.min() < 0 or place[-1] > 4 * len(place) or np.any(np.diff(place) < 0):
        return np.empty(0), np.empty(0)
    count = np.bincount(place)
    with np.errstate(invalid="ignore"):
        mean = np.bincount(place, values) / count
    return time_s[0] + (np.arange(len(count)) + 0.5) * bin_s, mean


class MotionWatch:
    """Watch whether channels fit together, from block to block."""

    def __init__(self, mapping: LogMapping) -> None:
        self._mapping = mapping
        self._per_amp, self._per_rate = _Agreement(), _Agreement()

    def update(self, signals: Mapping[str, Floats]) -> None:
        """Take in a block."""
        for top, under, bin_s, agreement in (
            ("speed_mps", "current_a", _BIN_S, self._per_amp),
            ("pitch_rad", "pitch_rate_rad_per_s", _RATE_BIN_S, self._per_rate),
        ):
            if top in signals and under in signals:
                _, moving = _binned(signals["time_s"], signals[top], bin_s)
                _, driving = _binned(signals["time_s"], signals[under], bin_s)
                if len(moving) == len(driving) and len(moving) > 2:
                    change = (moving[2:] - moving[:-2]) / (2.0 * bin_s)
                    agreement.update(change, driving[1:-1])

    def findings(self) -> Iterator[Finding]:
        """Yield what was found over the whole log."""
        slope, sure = self._per_amp.slope_and_correlation()
        if sure < -_SURE:
            yield Finding(
                weight=Weight.WARNING,
                subject="current_a",
                text="the board slows down while the current is positive: the sign of current or"
                " speed is turned round; write reversed = true at one of them in the mapping",
            )
        elif sure > _SURE and not _LEAST_PER_A <= slope <= _MOST_PER_A:
            yield Finding(
                weight=Weight.WARNING,
                subject="speed_mps",
                text=f"changes by {slope:.3g} m/s2 per ampere, where a board with a rider gives"
                f" {_LEAST_PER_A:g} to {_MOST_PER_A:g}; {self._likely_of_speed(slope)}",
            )
        slope, sure = self._per_rate.slope_and_correlation()
        if sure < -_SURE:
            yield Finding(
                weight=Weight.WARNING,
                subject="pitch_rate_rad_per_s",
                text="falls while the pitch rises: the sign of one is turned round; write"
                " reversed = true at it in the mapping",
            )
        elif sure > _SURE and not _LEAST_RATIO < slope < _MOST_RATIO:
            yield Finding(
                weight=Weight.WARNING,
                subject="pitch_rad",
                text=f"changes {slope:.3g} times as fast as the pitch rate says:"
                f" {self._likely_of_pitch(slope)}",
            )

    def _likely_of_speed(self, slope: float) -> str:
        likely = [
            unit
            for unit, (factor, _) in self._mapping.other_units("speed_mps").items()
            if _LEAST_PER_A <= slope * factor <= _MOST_PER_A
        ]
        if likely:
            return f"the speed is probably in {' or '.join(likely)}: correct the unit"
        return "no other unit of the speed explains it: check current, speed and their scales"

    def _likely_of_pitch(self, slope: float) -> str:
        likely = []
        for channel, words, power in (
            ("pitch_rad", "the pitch", 1.0),
            ("pitch_rate_rad_per_s", "the pitch rate", -1.0),
        ):
            for unit, (factor, _) in self._mapping.other_units(channel).items():
                if _LEAST_RATIO < slope * factor**power < _MOST_RATIO:
                    likely.append(f"{words} is in {_IN_WORDS.get(unit, unit)}")
        if likely:
            return f"probably {' or '.join(likely)}; correct the unit"
        return "no other unit of either explains it: check their columns and scales"
