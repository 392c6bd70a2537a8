"""The search: ask for a generation, evaluate it as one batch, store it, tell it, and again."""

from collections.abc import Callable
from dataclasses import dataclass

from objectives import Components
from optimizer.search.evaluation import NO_COMPONENTS, Evaluate, Evaluation, History, checked
from optimizer.search.frozen_settings import search_inputs
from optimizer.search.generations import Generations
from optimizer.search.imputation import imputed
from optimizer.search.plan import Plan
from optimizer.search.store_protocol import CandidateStore
from plant.arrays import Floats

__all__ = ["Evaluate", "Evaluation", "History", "Progress", "run", "whole_generations"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Progress:
    """Where a search stands between two generations.

    Parameters
    ----------
    n_done : int
        Finished and stored candidates.
    n_wanted : int
        Candidates at the end, in whole generations.
    n_resumed : int
        Of those done, how many were in the store before this run.
    history : History
        All finished candidates in number order.
    rides : callable
        From numbers of finished candidates to how they rode, (candidate, ride, column).
    """

    n_done: int
    n_wanted: int
    n_resumed: int
    history: History
    rides: Callable[[range], Floats]


def whole_generations(n_candidates: int, *, population: int) -> int:
    """Return `n_candidates` rounded up to a multiple of the population."""
    return -(-n_candidates // population) * population


def run(
    evaluate: Evaluate,
    plan: Plan,
    store: CandidateStore,
    *,
    n_candidates: int,
    later: Callable[[Floats], Evaluate] | None = None,
    on_generation: Callable[[Progress], None] | None = None,
    stop: Callable[[Progress], bool] | None = None,
    n_jobs: int = 1,
) -> Progress:
    """Search until the store holds `n_candidates`; the same call resumes or extends a study.

    After any number of stops, kills and extensions the store holds the same candidates, byte for
    byte, as after one uninterrupted run. For that a study advances by whole generations only, so
    `n_candidates` is rounded up, and `evaluate` must give a row the same outcome in any batch.

    Parameters
    ----------
    evaluate : Evaluate
        Simulates the first generation, and the others where `later` is not given.
    plan : Plan
        What is searched and how; the store freezes it.
    store : CandidateStore
        Keeps what is finished; the caller opens and closes it.
    n_candidates : int
        Candidates wanted in the store; not part of what the study freezes.
    later : callable, optional
        From the rides of the first generation, (candidate, ride, column), to what simulates those
        after it. It may leave objectives unknown; see `optimizer.search.imputation`.
    on_generation : callable, optional
        Called with the progress at the start and after each stored generation.
    stop : callable, optional
        Asked between generations, with the progress; True ends the search.
    n_jobs : int
        Threads that work on what to propose; how many changes nothing.

    Returns
    -------
    Progress
        At the end; `n_done` is below `n_wanted` when it was stopped.

    Raises
    ------
    UserInputError
        The store was started with other inputs, is damaged or can not be written.
    ValueError
        An argument out of its range, or an evaluation of a wrong shape or not finite.
    """
    if n_candidates < 1:
        raise ValueError(f"n_candidates must be 1 or more, got {n_candidates}")
    population, composite = plan.population, plan.composite
    generations = Generations(plan, n_jobs=n_jobs)
    store.freeze(search_inputs(plan))
    history = store.history(population=population)
    components = _stored_components(store, history, plan)
    generations.tell(imputed(history, components, plan.space))
    rejecting: Evaluate | None = None
    n_resumed = len(history)
    n_wanted = max(n_resumed, whole_generations(n_candidates, population=population))
    while True:
        progress = Progress(
            n_done=len(history),
            n_wanted=n_wanted,
            n_resumed=n_resumed,
            history=history,
            rides=store.rides,
        )
        if on_generation is not None:
            on_generation(progress)
        if len(history) >= n_wanted or (stop is not None and stop(progress)):
            return progress
        if later is not None and len(history) and rejecting is None:
            rejecting = later(store.rides(range(population)))
        values = generations.ask()
        evaluation = checked(
            (rejecting or evaluate)(values.copy()),
            n_candidates=population,
            n_objectives=plan.n_objectives,
            may_reject=rejecting is not None,
        )
        store.append(len(history) // population, values, evaluation)
        history = history.followed_by(_history_of(values, evaluation))
        components = components.followed_by(composite.components(evaluation))
        generations.tell(imputed(history, components, plan.space, start=len(history) - population))


def _history_of(values: Floats, evaluation: Evaluation) -> History:
    return History(
        values=values, objectives=evaluation.objectives, constraints=evaluation.constraints
    )


def _stored_components(store: CandidateStore, history: History, plan: Plan) -> Components:
    """Return the components of the stored candidates, read a generation at a time."""
    components = NO_COMPONENTS
    for start in range(0, len(history), plan.population):
        stop = start + plan.population
        rows = history.rows(start, stop)
        evaluation = Evaluation(
            objectives=rows.objectives,
            constraints=rows.constraints,
            rides=store.rides(range(start, stop)),
        )
        components = components.followed_by(plan.composite.components(evaluation))
    return components
