"""Running a study: from its checked file to a store that holds its candidates."""

import json
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from types import FrameType

from objectives import OBJECTIVES
from optimizer.base.errors import AlreadyStartedError, NotStartedError
from optimizer.base.progress import UNWATCHED, Stages, unheard
from optimizer.base.unfinished import sweep
from optimizer.execution.asked_candidates import NOTHING_ASKED, Asked
from optimizer.execution.backends import ALONE, Machines, riding
from optimizer.execution.baseline_handling import not_compared
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.provenance import MODEL, refuse_other_study, ride_inputs
from optimizer.execution.reevaluation import on_fresh_noise, reevaluate
from optimizer.execution.ride_reuse import reusing
from optimizer.execution.ride_reuse_report import find_reuse
from optimizer.execution.search_end import SearchEnd
from optimizer.execution.store import Store, started_with
from optimizer.execution.study_changes import STARTED_TEXT, STARTED_VALUES, started_values
from optimizer.execution.study_search import search_study, study_plan
from optimizer.execution.tolerance_rides import with_tolerances
from optimizer.search.evaluation import Evaluate
from optimizer.search.frozen_settings import WEIGHTS, weights_text
from optimizer.search.loop import Progress
from optimizer.study.paths import store_path
from optimizer.study.study import Study


def refuse_started(study: Study) -> None:
    """Refuse a study that has a store already.

    Raises
    ------
    AlreadyStartedError
        Says how to go on with it.
    """
    path = store_path(study.folder)
    if path.exists():
        raise AlreadyStartedError(
            f"{path}: this study is started already; go on with"
            f" `levelgain resume {study.folder}`, or copy study.toml into a new folder"
        )


def refuse_not_started(study: Study) -> None:
    """Refuse to resume a study that has no store.

    Raises
    ------
    NotStartedError
        Says how to start it.
    """
    path = store_path(study.folder)
    if not path.exists():
        raise NotStartedError(
            f"{path}: there is nothing to resume; start with `levelgain run {study.folder}`"
        )


def run_study(
    study: Study,
    *,
    n_candidates: int,
    n_jobs: int,
    on_generation: Callable[[Progress], None],
    stop: Callable[[], bool],
    enough: Callable[[Progress], str] = lambda _: "",
    asked: Asked = NOTHING_ASKED,
    notice: Callable[[str], None] = unheard,
    stages: Stages = UNWATCHED,
    machines: Machines = ALONE,
) -> Progress:
    """Search until the study's store holds `n_candidates`, from whatever it holds now.

    A search that has found enough before is finished too: what it reached is then the number that
    was asked for, and the number wanted in the progress that is returned.

    Parameters
    ----------
    study : Study
    n_candidates : int
        Rounded up to whole generations.
    n_jobs : int
        Threads; the results do not depend on it.
    on_generation : callable
        As in `optimizer.search.loop.run`.
    stop : callable
        Asked between generations; True ends the search.
    enough : callable
        Asked between generations why the search has found enough; an empty text where it goes on.
    asked : Asked
        What was asked for, for `resume` to go on to.
    notice : callable
        Told in words what is reused, when the run before was killed, why a search has found
        enough, and why one stops whose first generations ride some ride never to its end.
    stages : Stages
        Receives what goes before the search, where it takes long: to look for hard rides.
    machines : Machines
        What rides besides this machine's threads, or in their place.

    Raises
    ------
    UserInputError
        The store can not be used or written, or another run has it.
    """
    sweep(study.folder, below=True)
    reuse = find_reuse(study)
    weights = _started_weights(study, notice=notice)
    _refuse_store_of_another(study)
    study = with_hard_rides(study, n_jobs=n_jobs, notice=notice, stages=stages)
    with (
        riding(study, machines, rides_of=study, n_jobs=n_jobs, weights=weights) as ride_by,
        Store(store_path(study.folder)) as store,
    ):
        store.freeze(ride_inputs(study))
        store.keep(asked.texts)
        if not store.n_candidates:
            store.keep({STARTED_VALUES: started_values(study), STARTED_TEXT: study.text})
        if reuse.summary and store.n_candidates <= len(study.start):
            notice(reuse.summary)
        if left_out := not_compared(study):
            notice(left_out)
        if store.interrupted:
            notice(
                f"The run before was killed after {store.n_candidates} candidates; what it had in"
                " hand was not stored whole and is ridden again."
            )

        def ride(screening: tuple[int, ...]) -> Evaluate:
            evaluate = ride_by(screening)
            return reusing(evaluate, study, reuse.parts, n_jobs=n_jobs, screening=screening)

        end = SearchEnd(study=study, store=store, stop=stop, enough=enough, notice=notice)
        progress = search_study(
            study,
            ride,
            study_plan(study, weights=json.loads(weights)),
            store,
            n_candidates=n_candidates,
            n_jobs=n_jobs,
            on_generation=on_generation,
            stop=end.reached,
        )
        if not end.why_enough:
            return progress
        store.keep(Asked(n_candidates=progress.n_done).texts)
    notice(
        f"The search ends at {progress.n_done} candidates: {end.why_enough}. To go on:"
        f" levelgain resume {study.folder} --candidates {progress.n_wanted}"
    )
    finished = replace(progress, n_wanted=progress.n_done)
    on_generation(finished)
    return finished


def reevaluate_front(
    study: Study,
    *,
    n_jobs: int,
    advance: Callable[[int, int], None],
    stop: Callable[[], bool],
    machines: Machines = ALONE,
) -> bool:
    """Ride the front of a finished search again; see `optimizer.execution.reevaluation.reevaluate`.

    Raises
    ------
    UserInputError
        The store can not be used or written, or another run has it.
    """
    refuse_not_started(study)
    study = with_hard_rides(study, n_jobs=n_jobs)
    again = on_fresh_noise(study)
    weights = _started_weights(study, notice=unheard)
    with (
        riding(study, machines, rides_of=again, n_jobs=n_jobs, weights=weights) as ride_by,
        Store(store_path(study.folder)) as store,
    ):
        store.freeze(ride_inputs(study))
        return reevaluate(
            study,
            store,
            evaluate=with_tolerances(
                reusing(ride_by(()), again, find_reuse(study).parts, n_jobs=n_jobs),
                again,
                n_jobs=n_jobs,
            ),
            advance=advance,
            stop=stop,
        )


def _refuse_store_of_another(study: Study) -> None:
    """Refuse a store of another study before hard rides are looked for, which takes minutes."""
    path = store_path(study.folder)
    keys = ("study.digest", MODEL, STARTED_VALUES)
    started = {key: started_with(path, key) for key in keys}
    frozen = {key: text for key, text in started.items() if text is not None}
    if "study.digest" in frozen:
        refuse_other_study(path, frozen, study)


def _started_weights(study: Study, *, notice: Callable[[str], None]) -> str:
    """Return the weights that the search started with, or the study's for a new one.

    A search whose weights changed on its way would not be the same after a resume.
    """
    asked = weights_text(study.weights[name] for name in OBJECTIVES)
    started = started_with(store_path(study.folder), WEIGHTS) or asked
    if started != asked:
        notice(
            "The search goes on by the weights it was started with; the tables weigh by those of"
            " today. To search by today's, fork the study."
        )
    return started


@contextmanager
def stopping_on_interrupt(announce: Callable[[], None]) -> Iterator[Callable[[], bool]]:
    """Give a question that turns true after Ctrl-C; a second Ctrl-C interrupts at once.

    Parameters
    ----------
    announce : callable
        Called once, at the first Ctrl-C.
    """
    asked = False

    def handle(_number: int, _frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        announce()

    before = signal.signal(signal.SIGINT, handle)
    try:
        yield lambda: asked
    finally:
        signal.signal(signal.SIGINT, before)
