"""When a search has found enough before it holds all candidates that are wanted."""

import time
from collections.abc import Callable
from typing import TypeAlias

from optimizer.analysis.front_so_far import latest_gain
from optimizer.analysis.searched_feels import FeelsSoFar
from optimizer.base.errors import ArgumentError
from optimizer.search.loop import Progress
from optimizer.study.limits import MOST_MINUTES
from optimizer.study.study import Study

Enough: TypeAlias = Callable[[Progress], str]


def refuse_bad_rules(*, minutes: float | None, until_gain_percent: float | None) -> None:
    """Refuse numbers by which no search can end.

    Raises
    ------
    UserInputError
        One of them is out of its range, or not a number.
    """
    for name, given, most in (
        ("minutes", minutes, MOST_MINUTES),
        ("until_gain_percent", until_gain_percent, 100.0),
    ):
        if given is not None and not 0.0 < given <= most:
            raise ArgumentError(name, f"must be above 0 and at most {most:,g}, got {given:g}")


def stopping_rules(
    study: Study,
    feels: FeelsSoFar,
    *,
    minutes: float | None,
    until_gain_percent: float | None,
    clock: Callable[[], float] = time.monotonic,
) -> Enough:
    """Return what says, between generations, why a search has found enough; empty if it has not.

    Parameters
    ----------
    study : Study
    feels : FeelsSoFar
        Of the search.
    minutes : float, optional
        From now on. At least one generation is ridden.
    until_gain_percent : float, optional
        Of `optimizer.analysis.front_so_far.latest_gain`, which follows from the candidates alone.
    clock : callable
        Gives the time in s.

    Raises
    ------
    UserInputError
        As of `refuse_bad_rules`.
    """
    refuse_bad_rules(minutes=minutes, until_gain_percent=until_gain_percent)
    started_s = clock()

    def why_enough(now: Progress) -> str:
        if until_gain_percent is not None:
            history = now.history
            gain = latest_gain(study, history.objectives, history.constraints, feels.at(now))
            if gain is not None and gain.percent < until_gain_percent:
                return f"{gain}, less than {until_gain_percent:g} %"
        late = minutes is not None and clock() - started_s >= 60.0 * minutes
        if late and now.n_done > now.n_resumed:
            return f"the {minutes:g} minutes are over"
        return ""

    return why_enough
