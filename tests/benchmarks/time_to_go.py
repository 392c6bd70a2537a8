"""How long work still takes, said on the standard error every so often."""

import sys
import time
from collections.abc import Callable

_EVERY_S = 20.0


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
    sys.stderr.flush()


class TimeToGo:
    """Says how much of some work is done and how long the rest takes at the pace so far.

    Parameters
    ----------
    name : str
        Of the work.
    total : float
        How much there is to do, in any unit.
    done : float
        How much of it was done before.
    clock : callable
        Seconds from any beginning.
    say : callable
        Receives a line.
    """

    def __init__(
        self,
        name: str,
        total: float,
        *,
        done: float = 0.0,
        clock: Callable[[], float] = time.monotonic,
        say: Callable[[str], None] = _say,
    ) -> None:
        self._name = name
        self._total = total
        self._before = done
        self._clock = clock
        self._say = say
        self._began_s = self._said_s = clock()

    def at(self, done: float) -> None:
        """Take note of how much is done; say it where nothing was said for a while."""
        now_s = self._clock()
        if now_s - self._said_s < _EVERY_S or done <= self._before:
            return
        self._said_s = now_s
        left = max(self._total - done, 0.0)
        left_min = (now_s - self._began_s) / (done - self._before) * left / 60.0
        share = min(done / self._total, 1.0)
        self._say(f"{self._name}: {100.0 * share:.0f} % done, about {left_min:.0f} min to go")
