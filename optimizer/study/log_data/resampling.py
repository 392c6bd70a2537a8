"""A log on an even grid of time, in parts without gaps: what the fits work on."""

import dataclasses
import itertools
import math
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.base.errors import LogError, caused_by
from optimizer.study.log_data.channels import CHANNELS
from optimizer.study.log_data.checks import Checked, LogWatch
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.log_data.reader import Block, read_blocks
from plant.arrays import Floats

WORKING_HZ = 100.0  # assumed: well above the balance's few Hz
_BRIDGED = 3  # missing steps that a straight line may bridge


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RideLog:
    """A log on an even grid.

    Attributes
    ----------
    dt_s : float
    time_s : (sample,) float64
        From the start of the first part; rises within a part.
    part : (sample,) int64
        Number of the part; between parts the log has a gap or a restart.
    signals : mapping of channel to (sample,) float64
        Means over `dt_s`; NaN where the log has nothing.
    """

    dt_s: float
    time_s: Floats
    part: NDArray[np.int64]
    signals: Mapping[str, Floats]

    def has(self, *channels: str) -> bool:
        """Return whether all of the channels are in the log."""
        return all(channel in self.signals for channel in channels)

    def parts(self) -> Iterator[slice]:
        """Yield the samples of each part."""
        ends = np.flatnonzero(np.diff(self.part)) + 1
        edges = [0, *ends.tolist(), len(self.part)]
        yield from (slice(start, end) for start, end in itertools.pairwise(edges))

    def longest_part(self) -> slice:
        """Return the samples of the longest part."""
        return max(self.parts(), key=lambda part: part.stop - part.start)


def window_means(log: RideLog, values: Floats, width: int) -> Floats:
    """Return means over windows of so many samples, (window,), none across parts."""
    means = []
    for part in log.parts():
        n_windows = (part.stop - part.start) // width
        whole = values[part][: n_windows * width].reshape(n_windows, width)
        means.append(whole.mean(axis=1))
    return np.concatenate(means) if means else np.empty(0)


@dataclasses.dataclass(slots=True, kw_only=True)
class _Bins:
    """Sums over steps of the grid, in the order of the file."""

    dt_s: float = math.nan
    place: list[NDArray[np.int64]] = dataclasses.field(default_factory=list)
    restart: list[NDArray[np.int64]] = dataclasses.field(default_factory=list)
    sums: list[Floats] = dataclasses.field(default_factory=list)
    counts: list[Floats] = dataclasses.field(default_factory=list)
    n_restarts: int = 0
    last_s: float = math.nan
    origin_s: float = math.nan


@caused_by(LogError)
def load_log(
    path: Path, mapping: LogMapping, *, rate_hz: float = WORKING_HZ
) -> tuple[RideLog, Checked]:
    """Read, check and resample a log in one pass.

    Parameters
    ----------
    path : Path
    mapping : LogMapping
    rate_hz : float
        Rate of the grid; the log's own where that is lower.

    Raises
    ------
    UserInputError
        As `checking.check_log`.
    """
    watch, bins = LogWatch(path, mapping), _Bins()
    names = [name for name in mapping.columns if name != "time_s"]
    for block in read_blocks(path, mapping):
        watch.update(block)
        _take(bins, block, names, rate_hz)
    checked = watch.checked()
    return _on_grid(bins, names), checked


def _take(bins: _Bins, block: Block, names: list[str], rate_hz: float) -> None:
    time_s = block.signals["time_s"]
    good = np.isfinite(time_s)
    times = time_s[good]
    if len(times) == 0:
        return
    if math.isnan(bins.dt_s):
        steps = np.diff(times)
        own = float(np.median(steps[steps > 0.0])) if np.any(steps > 0.0) else 1.0 / rate_hz
        bins.dt_s = max(1.0 / rate_hz, own)
        bins.last_s = bins.origin_s = float(times[0])
    back = np.diff(times, prepend=bins.last_s) < 0.0
    restart = bins.n_restarts + np.cumsum(back)
    bins.n_restarts, bins.last_s = int(restart[-1]), float(times[-1])
    # Half a step of grace: a log at the grid's own rate jitters about the middle of its bins.
    place = np.floor((times - bins.origin_s) / bins.dt_s + 0.5).astype(np.int64)
    first = np.flatnonzero(np.diff(place, prepend=place[0] - 1) | back)
    values = np.stack([_believed(name, block.signals[name][good]) for name in names], axis=1)
    finite = np.isfinite(values)
    bins.place.append(place[first])
    bins.restart.append(restart[first])
    bins.sums.append(np.add.reduceat(np.where(finite, values, 0.0), first, axis=0))
    bins.counts.append(np.add.reduceat(finite.astype(np.float64), first, axis=0))


def _believed(name: str, values: Floats) -> Floats:
    """Return the values with those that can not be true left out."""
    known = CHANNELS[name]
    return np.where((values >= known.low) & (values <= known.high), values, np.nan)


def _on_grid(bins: _Bins, names: list[str]) -> RideLog:
    place, restart = np.concatenate(bins.place), np.concatenate(bins.restart)
    sums, counts = np.concatenate(bins.sums), np.concatenate(bins.counts)
    # A block may end within a bin: add its two halves.
    new = np.concatenate([[True], (np.diff(place) != 0) | (np.diff(restart) != 0)])
    first = np.flatnonzero(new)
    sums, counts = np.add.reduceat(sums, first, axis=0), np.add.reduceat(counts, first, axis=0)
    place, restart = place[first], restart[first]
    means = np.full_like(sums, np.nan)
    np.divide(sums, counts, out=means, where=counts > 0.0)
    jumps = (np.diff(place) > _BRIDGED + 1) | (np.diff(restart) != 0)
    edges = [0, *(np.flatnonzero(jumps) + 1).tolist(), len(place)]
    times, parts, tables = [], [], []
    for number, (start, end) in enumerate(itertools.pairwise(edges)):
        grid = np.arange(place[start], place[end - 1] + 1)
        times.append(grid * bins.dt_s)
        parts.append(np.full(len(grid), number))
        tables.append(_bridged(grid, place[start:end], means[start:end]))
    table = np.concatenate(tables)
    return RideLog(
        dt_s=bins.dt_s,
        time_s=np.concatenate(times),
        part=np.concatenate(parts),
        signals={name: table[:, index] for index, name in enumerate(names)},
    )


def _bridged(grid: NDArray[np.int64], place: NDArray[np.int64], means: Floats) -> Floats:
    """Return the means on every step of the grid, straight lines over short holes."""
    table = np.full((len(grid), means.shape[1]), np.nan)
    for column in range(means.shape[1]):
        known = np.isfinite(means[:, column])
        if not known.any():
            continue
        at = place[known]
        table[:, column] = np.interp(grid, at, means[known, column], left=np.nan, right=np.nan)
        after = np.clip(np.searchsorted(at, grid), 0, len(at) - 1)
        before = np.clip(np.searchsorted(at, grid, side="right") - 1, 0, len(at) - 1)
        table[at[after] - at[before] > _BRIDGED + 1, column] = np.nan
    return table
