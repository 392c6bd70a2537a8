"""Whether a search ends between two generations, and why."""

from collections.abc import Callable
from dataclasses import dataclass

from optimizer.execution.store import Store
from optimizer.execution.unridden import why_to_stop
from optimizer.search.loop import Progress
from optimizer.study.study import Study


@dataclass(kw_only=True, eq=False)
class SearchEnd:
    """What is asked after each generation; it keeps why the search has found enough.

    Parameters
    ----------
    study : Study
    store : Store
        Open, as the search finds it.
    stop : callable
        True where the user stops the search.
    enough : callable
        From the latest progress to why the search has found enough; an empty text if it has not.
    notice : callable
        Told why a search had better stop whose first generations ride some ride never to its end.

    Attributes
    ----------
    why_enough : str
        Empty while the search has not found enough.
    """

    study: Study
    store: Store
    stop: Callable[[], bool]
    enough: Callable[[Progress], str]
    notice: Callable[[str], None]
    why_enough: str = ""

    def reached(self, now: Progress) -> bool:
        """Say whether the search ends here; what the user stops has not found enough."""
        hopeless = why_to_stop(self.study, self.store) if now.n_done > now.n_resumed else ""
        if hopeless:
            self.notice(hopeless)
        if hopeless or self.stop():
            return True
        self.why_enough = self.enough(now)
        return bool(self.why_enough)
