"""A finding about a log: what looks wrong, where in the file, and what it means for a fit."""

import dataclasses
import enum
import math


class Weight(enum.StrEnum):
    """How much a finding matters."""

    NOTE = "note"  # worth knowing
    WARNING = "warning"  # a fit that uses the place is wrong


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding.

    Attributes
    ----------
    weight : Weight
    subject : str
        The channel it is about.
    text : str
        In plain words, with what to do.
    line : int
        Line of the file where it begins, 0 for the log as a whole.
    time_s : float
        Time in the log there, NaN for the log as a whole.
    """

    weight: Weight
    subject: str
    text: str
    line: int = 0
    time_s: float = math.nan

    def __str__(self) -> str:
        place = f"line {self.line}" if self.line else "whole log"
        if math.isfinite(self.time_s):
            place += f" ({self.time_s:.3f} s)"
        return f"{self.subject}, {place}: {self.text}"
