"""Read a whole log once and say what is wrong with it, in memory that does not grow with it."""

import dataclasses
from pathlib import Path

import numpy as np

from optimizer.base.errors import LogError, UserInputError, caused_by
from optimizer.study.log_data.check_consistency import MotionWatch
from optimizer.study.log_data.check_sensor import ChannelWatch
from optimizer.study.log_data.check_time import TimeWatch
from optimizer.study.log_data.findings import Finding, Weight
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.log_data.reader import Block, read_blocks


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a log is.

    Attributes
    ----------
    n_rows : int
    duration_s : float
        From the first time to the last.
    rate_hz : float
        Rows a second between gaps.
    findings : tuple of Finding
        Warnings first, then in the order of the file.
    """

    n_rows: int
    duration_s: float
    rate_hz: float
    findings: tuple[Finding, ...]


class LogWatch:
    """Watch a log pass by; another reader of the same blocks may use it too."""

    def __init__(self, path: Path, mapping: LogMapping) -> None:
        self._path = path
        self._columns = mapping.columns
        self._time = TimeWatch(mapping)
        self._motion = MotionWatch(mapping)
        self._channels = [
            ChannelWatch(name, mapping.other_units(name))
            for name in mapping.columns
            if name != "time_s"
        ]

    def update(self, block: Block) -> None:
        """Take in a block."""
        time_s = block.signals["time_s"]
        self._time.update(time_s, block.first_line)
        self._motion.update(block.signals)
        changes = [watch.changed(block.signals[watch.name]) for watch in self._channels]
        total = np.sum(changes, axis=0, dtype=np.int64)
        for watch, changed in zip(self._channels, changes, strict=True):
            watch.update(
                block.signals[watch.name],
                time_s,
                block.first_line,
                changed=changed,
                others=total - changed,
            )

    def checked(self) -> Checked:
        """Return what was found.

        Raises
        ------
        UserInputError
            The log holds no numbers, or its time runs backwards.
        """
        time = self._time
        if time.n_finite < 2:
            raise UserInputError(
                f"{self._path}: the time column holds {time.n_finite} numbers in {time.n_rows}"
                " rows; check which column the mapping names"
            )
        if not any(watch.n_finite for watch in self._channels):
            raise UserInputError(
                f"{self._path}: no column but the time holds a number; check the log's recorder"
            )
        if time.n_back > 0.5 * (time.n_finite - 1):
            raise UserInputError(
                f"{self._path}: time runs backwards in {time.n_back} of {time.n_finite - 1} steps;"
                " sort the log by time"
            )
        found = [*time.findings(), *self._motion.findings()]
        for watch in self._channels:
            found += watch.findings()
        found += [
            Finding(weight=Weight.NOTE, subject=name, text=scaling)
            for name, column in self._columns.items()
            if (scaling := column.scaling())
        ]
        found.sort(key=lambda finding: (finding.weight != Weight.WARNING, finding.line))
        return Checked(
            n_rows=time.n_rows,
            duration_s=time.last_s - time.first_s,
            rate_hz=1.0 / time.step_s if time.step_s > 0.0 else 0.0,
            findings=tuple(found),
        )


@caused_by(LogError)
def check_log(path: Path, mapping: LogMapping) -> Checked:
    """Read a log once and say what is wrong with it.

    Raises
    ------
    UserInputError
        The file can not be read, holds no numbers, or its time runs backwards; one line.
    """
    watch = LogWatch(path, mapping)
    for block in read_blocks(path, mapping):
        watch.update(block)
    return watch.checked()
