"""Whether a sensor shows numbers, inside its range, moving, and not cut off."""

import math
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from optimizer.study.log_data.channels import CHANNELS
from optimizer.study.log_data.findings import Finding, Weight
from plant.arrays import Floats

_MISSING_SHARE = 0.01
_CLIPPED_RUNS = 3  # assumed: one flat top is chance
_CLIPPED_TIMES = 3.0  # flat tops last so many times as long as a value usually stands
_MOVED_ROWS = 20  # other sensors changed in so many rows while this one stood still
_IN_OTHER_UNIT = 0.9  # assumed: share of the rows outside that another unit must bring inside


class _Extreme:
    """How often and how long the signal stands at its largest value."""

    def __init__(self) -> None:
        self.value = -math.inf
        self.n_runs = 0
        self.longest_rows = 0
        self.line = 0
        self.time_s = math.nan

    def update(
        self, values: Floats, starts: NDArray[np.int64], lengths: NDArray[np.int64], *,
        time_s: Floats, first_line: int,
    ) -> None:  # fmt: skip
        """Take in a block's runs of one value."""
        if not np.any(np.isfinite(values)):
            return
        top = float(np.nanmax(values))
        if top < self.value:
            return
        at_top = values == top
        if top > self.value:
            self.value, self.n_runs, self.longest_rows = top, 0, 0
            first = starts[np.argmax(at_top)]
            self.line, self.time_s = int(first) + first_line, float(time_s[first])
        self.n_runs += int(np.count_nonzero(at_top))
        self.longest_rows = max(self.longest_rows, int(lengths[at_top].max()))


class ChannelWatch:
    """Watch one channel from block to block.

    Parameters
    ----------
    name : str
    other_units : mapping of unit to (factor, offset)
        From the channel's values to what they would be had the mapping named that unit.
    """

    def __init__(self, name: str, other_units: Mapping[str, tuple[float, float]]) -> None:
        self.name = name
        self._other_units = other_units
        self._n_inside = dict.fromkeys(other_units, 0)  # of the rows outside, in another unit
        self.n_finite = 0
        self._channel = CHANNELS[name]
        self._n_rows = self._n_outside = self._n_runs = 0
        self._outside = (0, math.nan, math.nan)
        self._top, self._bottom = _Extreme(), _Extreme()
        self._last = math.nan
        self._since = (0, math.nan, 0)  # line, time and moved rows where the last value began
        self._moved = 0
        self._longest_s = 0.0
        self._stuck = (0, math.nan, math.nan)

    def changed(self, values: Floats) -> NDArray[np.bool_]:
        """Return where the value differs from the row above."""
        differs: NDArray[np.bool_] = values != np.concatenate([[self._last], values[:-1]])
        return differs

    def update(
        self, values: Floats, time_s: Floats, first_line: int, *,
        changed: NDArray[np.bool_], others: NDArray[np.int64],
    ) -> None:  # fmt: skip
        """Take in a block.

        Parameters
        ----------
        values, time_s : (row,) float64
        first_line : int
        changed : (row,) bool
            As `changed` returns it.
        others : (row,) int64
            How many other channels changed in each row.
        """
        finite = np.isfinite(values)
        self.n_finite += int(np.count_nonzero(finite))
        self._n_rows += len(values)
        outside = np.flatnonzero((values < self._channel.low) | (values > self._channel.high))
        if len(outside):
            if not self._n_outside:
                row = int(outside[0])
                self._outside = (row + first_line, float(time_s[row]), float(values[row]))
            self._n_outside += len(outside)
            for unit, (factor, offset) in self._other_units.items():
                would_be = factor * values[outside] + offset
                inside = (would_be >= self._channel.low) & (would_be <= self._channel.high)
                self._n_inside[unit] += int(np.count_nonzero(inside))
        starts = np.flatnonzero(changed)
        self._n_runs += len(starts)
        if self._channel.clips and len(starts):
            lengths = np.diff(starts, append=len(values))
            place = {"time_s": time_s, "first_line": first_line}
            self._top.update(values[starts], starts, lengths, **place)  # type: ignore[arg-type]
            self._bottom.update(-values[starts], starts, lengths, **place)  # type: ignore[arg-type]
        if math.isfinite(self._channel.stuck_s):
            self._watch_standing(values, time_s, first_line, starts=starts, others=others)
        self._last = float(values[-1])

    def _watch_standing(
        self, values: Floats, time_s: Floats, first_line: int, *,
        starts: NDArray[np.int64], others: NDArray[np.int64],
    ) -> None:  # fmt: skip
        moved = np.cumsum(others > 0) + self._moved
        began = np.concatenate([[self._since[1]], time_s[starts]])
        ended = np.concatenate([time_s[starts], [time_s[-1]]])
        moved_at = np.concatenate([[self._since[2]], moved[starts]])
        moved_by = np.concatenate([moved[starts], [moved[-1]]]) - moved_at
        stood = np.concatenate([[self._last], values[starts]])
        lasting = np.where(
            (stood != 0.0) & np.isfinite(stood) & (moved_by >= _MOVED_ROWS), ended - began, 0.0
        )
        lasting = np.nan_to_num(lasting)
        longest = int(np.argmax(lasting))
        if lasting[longest] > max(self._longest_s, self._channel.stuck_s):
            line = self._since[0] if longest == 0 else int(starts[longest - 1]) + first_line
            self._longest_s = float(lasting[longest])
            self._stuck = (line, float(began[longest]), float(stood[longest]))
        if len(starts):
            last = int(starts[-1])
            self._since = (last + first_line, float(time_s[last]), int(moved[last]))
        self._moved = int(moved[-1])

    def findings(self) -> Iterator[Finding]:
        """Yield what was found over the whole log."""
        missing = self._n_rows - self.n_finite
        if missing > _MISSING_SHARE * self._n_rows:
            yield Finding(
                weight=Weight.NOTE,
                subject=self.name,
                text=f"{100.0 * missing / self._n_rows:.0f} % of the rows have no number",
            )
        if self._n_outside:
            line, time_s, value = self._outside
            yield Finding(
                weight=Weight.WARNING,
                subject=self.name,
                line=line,
                time_s=time_s,
                text=f"{self._n_outside} row(s) outside {self._channel.low:g} to"
                f" {self._channel.high:g}, the first is {value:g}; {self._advice()}",
            )
        if self._longest_s > 0.0:
            line, time_s, value = self._stuck
            yield Finding(
                weight=Weight.WARNING,
                subject=self.name,
                line=line,
                time_s=time_s,
                text=f"stands at {value:g} for {self._longest_s:.1f} s while other sensors move:"
                " a stuck sensor or a lost connection",
            )
        yield from self._clipping()

    def _advice(self) -> str:
        if self._n_outside <= 0.001 * self._n_rows:
            return "a glitch of the sensor; such rows are left out"
        likely = [
            unit for unit, n in self._n_inside.items() if n >= _IN_OTHER_UNIT * self._n_outside
        ]
        if likely:
            return f"the column may be in {' or '.join(likely)}: correct the unit in the mapping"
        return (
            "no other unit explains it: check column, scale and offset in the mapping; such rows"
            " are left out"
        )

    def _clipping(self) -> Iterator[Finding]:
        usual_rows = self._n_rows / max(self._n_runs, 1)
        for sign, extreme in ((1.0, self._top), (-1.0, self._bottom)):
            flat = extreme.n_runs >= _CLIPPED_RUNS and extreme.longest_rows >= max(
                3.0, _CLIPPED_TIMES * usual_rows
            )
            if self._channel.clips and flat and extreme.value != 0.0:
                yield Finding(
                    weight=Weight.WARNING,
                    subject=self.name,
                    line=extreme.line,
                    time_s=extreme.time_s,
                    text=f"is cut off at {sign * extreme.value:g}, {extreme.n_runs} times: the end"
                    " of the sensor's range or of a limit",
                )
