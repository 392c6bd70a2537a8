"""What a search may know before it starts: nothing, one profile, or a study of another motor."""

import io
import tempfile
from pathlib import Path

import numpy as np

from optimizer.analysis.transfer import scaling
from optimizer.base.atomic_files import write_whole
from optimizer.execution.evaluate import make_evaluate, searched_columns, whole_profiles
from optimizer.execution.provenance import ride_inputs
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.frozen_settings import METHOD
from optimizer.search.pareto import non_dominated
from optimizer.search.ranking import best_first
from optimizer.search.space import clip
from optimizer.study.load import load_study
from optimizer.study.scaling import transferred
from optimizer.study.study import Study
from optimizer.study.templates import write_example
from plant.arrays import Floats

_CANDIDATES = 5000  # of the finished study
_PROFILES = 47  # taken from it: with the baseline a whole generation
SIMILAR = f"the best {_PROFILES} of {_CANDIDATES} on a faster motor"
_FAST_MOTOR = ('use = "lender_15"', 'use = "lender_17"')


def from_faster_motor(study: Study, cache: Path, *, n_jobs: int) -> Floats:
    """Return the front of a finished search of the same study on a faster motor.

    Its currents are rescaled for the study's motor, as `levelgain transfer` does.

    Parameters
    ----------
    study : Study
        Of the slower motor.
    cache : Path
        File that keeps what was found, as long as sources and study stay the same.
    n_jobs : int
        Threads.

    Returns
    -------
    (profile, searched parameter) float64
        Inside the study's space; those that add most to the front first.
    """
    with tempfile.TemporaryDirectory() as folder:
        faster = _on_faster_motor(study, Path(folder))
        key = f"{METHOD} {SIMILAR} {ride_inputs(faster)}"
        kept = _kept(cache, key)
        if kept is not None:
            return kept
        with Store(Path(folder) / "store.sqlite") as store:
            history = search_study(
                faster,
                lambda screening: make_evaluate(faster, n_jobs=n_jobs, screening=screening),
                study_plan(faster),
                store,
                n_candidates=_CANDIDATES,
                n_jobs=n_jobs,
            ).history
    front = np.flatnonzero(non_dominated(history.objectives, history.constraints))
    best = front[
        best_first(history.objectives[front], history.constraints[front], n_best=_PROFILES)
    ]
    by = scaling(faster, study)
    rescaled = np.array(
        [
            transferred(profile, by, study.board)
            for profile in whole_profiles(faster, history.values[best])
        ]
    )
    values = clip(study.space, rescaled[:, searched_columns(study)])
    content = io.BytesIO()
    np.savez_compressed(content, values=values, key=np.array(key))
    write_whole(cache, content.getvalue())
    return values


def _on_faster_motor(study: Study, folder: Path) -> Study:
    path = write_example(folder, study.folder.name)
    text = path.read_text()
    if text.count(_FAST_MOTOR[0]) != 1:
        raise ValueError(f"{study.folder}: must use the board {_FAST_MOTOR[0]} once")
    write_whole(path, text.replace(*_FAST_MOTOR))
    return load_study(folder)


def _kept(cache: Path, key: str) -> Floats | None:
    if not cache.is_file():
        return None
    with np.load(cache) as kept:
        return kept["values"] if str(kept["key"]) == key else None
