"""A study run under several seeds."""

from collections.abc import Callable

from optimizer.analysis.seed_spread import SeedSpread
from optimizer.analysis.seed_spread import seed_spread as spread_of
from optimizer.analysis.seed_studies import seed_studies
from optimizer.base.errors import StoreError
from optimizer.interface.progress import OnProgress, unwatched
from optimizer.interface.studies import run
from optimizer.study.study import Study
from plant.device import Device


def repeat(
    study: Study,
    *,
    seeds: int = 3,
    candidates: int | None = None,
    jobs: int | None = None,
    on_progress: OnProgress = unwatched,
    notice: Callable[[str], None] = print,
    device: Device | None = None,
) -> SeedSpread:
    """Return how far the results of a study differ between seeds, after running it under each.

    The seeds are the study's own and those that follow. Each has a study of its own in
    FOLDER/seeds/SEED, so that an interruption loses no finished generation: the same call goes on.
    It takes as long as so many runs; a finished run of the study itself counts as its first.

    Parameters
    ----------
    study : Study
    seeds : int
        How many, from 2 to 100.
    candidates : int, optional
        Of each; the study's own number if not given.
    jobs, on_progress, notice, device : optional
        As of `run`.

    Returns
    -------
    SeedSpread
        Its `fronts`, `picks`, `spread` and `parameters` are tables, all in the same units.

    Raises
    ------
    UserInputError
        So many seeds or candidates are not allowed, a file that the study names can not be copied,
        or a folder holds another study or more candidates.
    StoreError
        A search stopped, as `notice` was told, because no candidate rides some ride to its end.
    """
    found = []
    for each in seed_studies(study, n_seeds=seeds, n_candidates=candidates):
        results = run(
            each,
            candidates=each.n_candidates,
            jobs=jobs,
            on_progress=on_progress,
            notice=notice,
            device=device,
        )
        if len(results) < each.n_candidates:
            raise StoreError(
                f"{each.folder}: its search stopped at {len(results):,} of {each.n_candidates:,}"
                " candidates, so seeds can not be compared; mend the study, or call again to go on"
            )
        found.append(results)
    return spread_of(found)
