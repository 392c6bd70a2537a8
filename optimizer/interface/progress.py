"""How far a call has come, for a callback."""

import dataclasses
from collections.abc import Callable
from typing import TypeAlias


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far the stage of a call has come.

    Attributes
    ----------
    stage : str
        What is done, and in what `done` and `total` count.
    done : float
    total : float or None
        None where it is not known.
    note : str
        What was found so far; empty where there is nothing to say.
    """

    stage: str
    done: float
    total: float | None
    note: str = ""

    def __str__(self) -> str:
        how_far = "" if self.total is None else f": {self.done:g} of {self.total:g}"
        note = f"; {self.note}" if self.note else ""
        return f"{self.stage}{how_far}{note}"


OnProgress: TypeAlias = Callable[[Progress], None]


def unwatched(_progress: Progress) -> None:
    """Do nothing."""


class CalledBack:
    """Stages that call back with the progress at each step; see `optimizer.base.progress.Stages`.

    Parameters
    ----------
    on_progress : callable
    """

    def __init__(self, on_progress: OnProgress) -> None:
        self._on_progress = on_progress
        self._now = Progress(stage="", done=0.0, total=None)

    def begin(self, text: str, total: float | None = None) -> None:
        """Begin a stage."""
        self._report(Progress(stage=text, done=0.0, total=total))

    def advance(self, amount: float = 1.0) -> None:
        """Say how much was done since the stage began or this was last called."""
        self._report(dataclasses.replace(self._now, done=self._now.done + amount))

    def _report(self, progress: Progress) -> None:
        self._now = progress
        self._on_progress(progress)
