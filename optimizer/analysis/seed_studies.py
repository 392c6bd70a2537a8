"""A study under several seeds, each in a folder of its own."""

import dataclasses
import re
from pathlib import Path

from optimizer.analysis.study_folder import appearing_whole, files_along, start_name
from optimizer.base.atomic_files import write_whole
from optimizer.base.errors import ArgumentError, StoreError, StudyFileError, UserInputError
from optimizer.base.toml_io import parse_toml
from optimizer.execution.store import how_far
from optimizer.search.loop import whole_generations
from optimizer.study.limits import FEWEST_SEEDS, MOST_CANDIDATES, MOST_SEEDS
from optimizer.study.load import load_study
from optimizer.study.paths import SEEDS_FOLDER, STUDY_FILE, store_path
from optimizer.study.study import Study

_SEED = re.compile(r"^seed[ \t]*=[^\n#]*", re.MULTILINE)
_TABLE = re.compile(r"^[ \t]*\[", re.MULTILINE)


def seed_studies(study: Study, *, n_seeds: int, n_candidates: int | None = None) -> list[Study]:
    """Return the study under its own seed and those that follow, each in a folder of its own.

    These are FOLDER/seeds/SEED, made where they are missing. A folder that is there is gone on
    with. The study's own folder serves for its seed where it holds a run of as many candidates.
    Rides are simulated on this machine alone.

    Parameters
    ----------
    study : Study
    n_seeds : int
    n_candidates : int, optional
        That each is to hold, rounded up to whole generations; the study's own number if not given.

    Raises
    ------
    UserInputError
        So many seeds or candidates are not allowed, a file that the study names can not be copied,
        or a folder holds another study, or more candidates.
    """
    if not FEWEST_SEEDS <= n_seeds <= MOST_SEEDS:
        raise ArgumentError("seeds", f"must be from {FEWEST_SEEDS} to {MOST_SEEDS}, got {n_seeds}")
    wanted = study.n_candidates if n_candidates is None else n_candidates
    if not 1 <= wanted <= MOST_CANDIDATES:
        raise ArgumentError("candidates", f"must be from 1 to {MOST_CANDIDATES:,}, got {wanted:,}")
    study = dataclasses.replace(study, database=None, n_candidates=wanted)
    n_whole = whole_generations(wanted, population=study.population)
    seeds = range(study.seed, study.seed + n_seeds)
    found = [_of_seed(study, seed) for seed in seeds]
    if how_far(store_path(study.folder)) == (n_whole, False):
        found[0] = study
    for each in found:
        _refuse_more(each, n_whole)
    for each in found:
        if not (each.folder / STUDY_FILE).exists():
            _make(each, study.folder)
    return found


def _of_seed(study: Study, seed: int) -> Study:
    """Return a study as it is under another seed, in its folder, which need not be there yet."""
    text = seeded(study.text, seed, path=study.folder / STUDY_FILE)
    folder = study.folder / SEEDS_FOLDER / str(seed)
    other = dataclasses.replace(
        load_study(study.folder, text=text),
        folder=folder,
        database=None,
        device=study.device,
        n_candidates=study.n_candidates,
    )
    if (folder / STUDY_FILE).exists() and load_study(folder).digest != other.digest:
        raise StudyFileError(
            f"{folder / STUDY_FILE}: is another study than {study.folder / STUDY_FILE} is now;"
            f" rename {folder.parent} to keep it, and run all seeds again"
        )
    return other


def _refuse_more(study: Study, n_wanted: int) -> None:
    n_done, _ = how_far(store_path(study.folder))
    if n_done > n_wanted:
        raise StoreError(
            f"{store_path(study.folder)}: holds {n_done:,} candidates, more than the {n_wanted:,}"
            f" wanted of each seed; give --candidates {n_done}"
        )


def _make(study: Study, old: Path) -> None:
    """Make the folder of a study, with the files that it names in the old one."""
    written = parse_toml(study.text, path=study.folder / STUDY_FILE)
    start = Path(start_name(written, old))
    along = files_along(written, old, study.folder)
    if len(study.start):
        along.append(start)
    with appearing_whole(study.folder) as new:
        for path in along:
            write_whole(new / path, (old / path).read_bytes())
        write_whole(new / STUDY_FILE, study.text)


def seeded(text: str, seed: int, *, path: Path) -> str:
    """Return a study file's text with another seed.

    Parameters
    ----------
    text : str
    seed : int
    path : Path
        Of the study file, for messages.

    Raises
    ------
    StudyFileError
        The seed is written in a way in which it can not be replaced.
    """
    first_table = _TABLE.search(text)
    end = len(text) if first_table is None else first_table.start()
    head, rest = text[:end], text[end:]
    line = f"seed = {seed}"
    head, n_replaced = _SEED.subn(lambda found: _with_tail(line, found.group()), head)
    changed = head + rest if n_replaced else f"{line}\n{text}"
    wanted = parse_toml(text, path=path) | {"seed": seed}
    try:
        replaced = parse_toml(changed, path=path) == wanted
    except UserInputError:
        replaced = False
    if not replaced:
        raise StudyFileError(
            f"{path}: seed: must stand on a line of its own above the tables, such as seed = 7, for"
            " other seeds to be put there; write it so"
        )
    return changed


def _with_tail(line: str, old: str) -> str:
    """Return a line with the space that stood behind the old one, before a comment."""
    return line + old[len(old.rstrip()) :]
