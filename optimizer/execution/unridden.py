"""Rides that no candidate of a search's first generations rides to its end.

A search whose candidates can not even be ridden learns nothing from riding more of them: the board,
not the profile, is what falls short.
"""

from collections import Counter

import numpy as np

from objectives import outcome_codes
from objectives.ride_scores import ended_early
from optimizer.execution.store import Store
from optimizer.search.pareto import feasible
from optimizer.study.study import Study
from plant.kernel.outcomes import Outcome

JUDGED_GENERATIONS = 5  # assumed: the first, which rides everything, and a few that learn from it
_NAMED = 4


def why_to_stop(study: Study, store: Store) -> str:
    """Return why a search had better stop after its first generations; empty where it goes on.

    It is asked once, when exactly `JUDGED_GENERATIONS` are stored; a resumed search goes on.
    """
    n_judged = JUDGED_GENERATIONS * study.population
    if store.n_candidates != n_judged:
        return ""
    if feasible(store.history(population=study.population).constraints).any():
        return ""
    codes = outcome_codes(store.rides(range(n_judged))[:, : len(study.rides)])
    hopeless = np.flatnonzero(~(codes == Outcome.RIDDEN).any(axis=0))
    if not len(hopeless):
        return ""
    ended = ended_early(codes)
    named = []
    for ride in hopeless[:_NAMED].tolist():
        (most, _), *_ = Counter(codes[ended[:, ride], ride].tolist()).most_common(1)
        named.append(f"{study.rides[ride].name} ({Outcome(most).message})")
    more = f" and {len(hopeless) - _NAMED} more" if len(hopeless) > _NAMED else ""
    return (
        f"None of the first {n_judged} candidates rides {', '.join(named)}{more} to its end, so the"
        f" search stops. `levelgain check {study.folder}` says what current, speed and room the"
        f" board leaves there. Change board, riders or courses with `levelgain fork"
        f" {study.folder} NEW`; `levelgain resume {study.folder}` searches on all the same."
    )
