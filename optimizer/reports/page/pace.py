"""How fast a search goes that is seen from outside, and how long it takes yet."""

import time
from collections import deque
from collections.abc import Callable
from typing import Any

_LATEST = 10  # generations by which the pace is judged: later ones take another time than the first


class Pace:
    """The pace of a search, from how many candidates are finished whenever somebody looks.

    Parameters
    ----------
    clock : callable, optional
        Gives the time in s.
    """

    def __init__(self, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._found: deque[tuple[float, int]] = deque(maxlen=_LATEST + 1)

    def seen(self, n_done: int, running: bool, *, n_wanted: int) -> dict[str, Any]:
        """Return how far the search is now, and in how many seconds it ends; None if not known.

        Parameters
        ----------
        n_done : int
            Finished candidates.
        running : bool
            Whether a run goes on.
        n_wanted : int
            Candidates after which the search ends.
        """
        now = self._clock()
        if not running:
            self._found.clear()
        elif not self._found or n_done != self._found[-1][1]:
            self._found.append((now, n_done))
        return {
            "done": n_done,
            "wanted": n_wanted,
            "running": running,
            "left_s": self._left_s(now, n_done, n_wanted) if running else None,
        }

    def _left_s(self, now: float, n_done: int, n_wanted: int) -> float | None:
        # What was there at the first look came at any time: the pace counts from the next one on.
        arrived = list(self._found)[1:] if len(self._found) <= _LATEST else list(self._found)
        if len(arrived) < 2 or n_done >= n_wanted:
            return None
        (first_s, first), (last_s, last) = arrived[0], arrived[-1]
        left_s = (n_wanted - last) * (last_s - first_s) / (last - first)
        return max(left_s - (now - last_s), 0.0)
