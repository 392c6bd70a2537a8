"""Whether the log's time rises, without gaps, in even steps, in the unit that was said."""

import math
from collections.abc import Iterator

import numpy as np

from optimizer.study.log_data.findings import Finding, Weight
from optimizer.study.log_data.mapping import LogMapping
from plant.arrays import Floats

GAP_STEPS = 10.0  # assumed: more missing rows than a fit may bridge
GAP_S = 0.1  # assumed: at high rates a shorter hole does no harm
_FASTEST_HZ, _SLOWEST_HZ = 5000.0, 1.0  # beyond: not a sensible log, so the unit is wrong
_NOT_GIVEN = (0, math.nan)


class TimeWatch:
    """Watch the time column from block to block."""

    def __init__(self, mapping: LogMapping) -> None:
        self._other_units = mapping.other_units("time_s")
        self.n_rows = 0
        self.n_finite = 0
        self.n_back = 0
        self.first_s = math.nan
        self.last_s = math.nan
        self.step_s = math.nan
        self._n_repeats = 0
        self._n_gaps = 0
        self._n_uneven = 0
        self._longest_s = 0.0
        self._gap_total_s = 0.0
        self._back, self._repeat, self._gap = _NOT_GIVEN, _NOT_GIVEN, _NOT_GIVEN
        self._back_by_s = 0.0

    def update(self, time_s: Floats, first_line: int) -> None:
        """Take in a block's times."""
        rows = np.flatnonzero(np.isfinite(time_s))
        self.n_rows += len(time_s)
        self.n_finite += len(rows)
        if len(rows) == 0:
            return
        times = time_s[rows]
        if math.isnan(self.first_s):
            self.first_s = self.last_s = float(times[0])
            rows, times = rows[1:], times[1:]
        steps = np.diff(times, prepend=self.last_s)
        if math.isnan(self.step_s) and np.any(steps > 0.0):
            self.step_s = float(np.median(steps[steps > 0.0]))
        lines = rows + first_line
        back = np.flatnonzero(steps < 0.0)
        repeat = np.flatnonzero(steps == 0.0)
        gap = np.flatnonzero(steps > max(GAP_STEPS * self.step_s, GAP_S))
        uneven = np.abs(steps - self.step_s) > 0.5 * self.step_s
        self._n_uneven += int(np.count_nonzero(uneven))
        if len(back):
            if not self.n_back:
                self._back = (int(lines[back[0]]), float(times[back[0]]))
                self._back_by_s = float(-steps[back[0]])
            self.n_back += len(back)
        if len(repeat):
            self._repeat = self._repeat if self._n_repeats else (
                int(lines[repeat[0]]), float(times[repeat[0]])
            )  # fmt: skip
            self._n_repeats += len(repeat)
        if len(gap):
            longest = int(gap[np.argmax(steps[gap])])
            if steps[longest] > self._longest_s:
                self._longest_s = float(steps[longest])
                self._gap = (int(lines[longest]), float(times[longest]))
            self._gap_total_s += float(steps[gap].sum())
            self._n_gaps += len(gap)
        if len(times):
            self.last_s = float(times[-1])

    def findings(self) -> Iterator[Finding]:
        """Yield what was found over the whole log."""
        subject = "time_s"
        missing = self.n_rows - self.n_finite
        if missing:
            yield Finding(
                weight=Weight.NOTE,
                subject=subject,
                text=f"{missing} of {self.n_rows} rows have no time and are left out",
            )
        if self.n_back:
            line, time_s = self._back
            yield Finding(
                weight=Weight.WARNING,
                subject=subject,
                line=line,
                time_s=time_s,
                text=f"jumps back by {self._back_by_s:g} s, {self.n_back} time(s) in all; the"
                " logger restarted, so each part is fitted as a ride of its own",
            )
        if self._n_gaps:
            line, time_s = self._gap
            yield Finding(
                weight=Weight.WARNING,
                subject=subject,
                line=line,
                time_s=time_s,
                text=f"{self._n_gaps} gap(s), {self._gap_total_s:.1f} s in all, the longest"
                f" {self._longest_s:.2f} s ends here; nothing is filled in",
            )
        if self._n_repeats:
            line, time_s = self._repeat
            yield Finding(
                weight=Weight.NOTE,
                subject=subject,
                line=line,
                time_s=time_s,
                text=f"{self._n_repeats} row(s) repeat the time of the row above and are averaged",
            )
        if self._n_uneven > 0.05 * self.n_rows:
            yield Finding(
                weight=Weight.NOTE,
                subject=subject,
                text=f"{100.0 * self._n_uneven / self.n_rows:.0f} % of the steps differ from"
                f" {1e3 * self.step_s:g} ms by more than half: the log jitters",
            )
        rate_hz = 1.0 / self.step_s if self.step_s > 0.0 else math.nan
        if not _SLOWEST_HZ <= rate_hz <= _FASTEST_HZ:
            likely = [
                unit
                for unit, (factor, _) in self._other_units.items()
                if self.step_s > 0.0 and _SLOWEST_HZ <= rate_hz / factor <= _FASTEST_HZ
            ]
            advice = (
                f"its unit is probably {' or '.join(likely)}: correct the mapping"
                if likely
                else "no other unit explains it: check column and scale in the mapping"
            )
            yield Finding(
                weight=Weight.WARNING,
                subject=subject,
                text=f"rows come every {self.step_s:g} s, which no ride log has; {advice}",
            )
