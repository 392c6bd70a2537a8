"""The profile that a command is about: a candidate, a file of the user's own, or the baseline."""

import os
from pathlib import Path

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import Results, candidate_number, read_results
from optimizer.base.errors import NotStartedError, UserInputError
from optimizer.base.messages import shown
from optimizer.base.pick_names import BASELINE_NAME, NEAREST, PICKS
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_profile
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile import Profile
from plant.description.profile_array import array_to_profile, profile_to_array


def named_profile(study: Study, text: str) -> tuple[Floats, str | Path]:
    """Return a profile's row, and where it comes from: a name of the study, or a file.

    Parameters
    ----------
    study : Study
    text : str
        "baseline", the number of a candidate, the name of a pick, or a file.

    Raises
    ------
    UserInputError
        It can not be read or found.
    """
    row, called, _ = any_profile(study, text)
    if text == BASELINE_NAME:
        return row, text
    return row, called if is_candidate(text) else Path(text).absolute()


def any_profile(study: Study, text: str) -> tuple[Floats, str, str]:
    """Return a profile's row, what to call it, and a stem for files about it.

    Parameters
    ----------
    study : Study
    text : str
        As of `named_profile`.

    Raises
    ------
    UserInputError
        It can not be read or found.
    """
    if text == BASELINE_NAME:
        return selected_profile(study, None, None)
    if is_candidate(text):
        return selected_profile(study, text, None)
    if not Path(text).suffix and not os.path.exists(text):  # noqa: PTH110, Path refuses long ones
        raise UserInputError(
            f"{shown(text)}: no such profile; name a candidate by its number, a pick"
            f" ({', '.join(PICKS)}), {BASELINE_NAME} or a profile file"
        )
    return selected_profile(study, None, Path(text))


def profile_to_explain(study: Study, text: str) -> tuple[Results | Study, int | Profile, str]:
    """Return in what a profile is explained, the profile there, and a stem for files about it.

    Parameters
    ----------
    study : Study
    text : str
        As of `named_profile`.

    Returns
    -------
    Results or Study
        The study itself where nothing was searched yet.
    int or Profile
        The number of a candidate, of the baseline too; else the profile.
    str

    Raises
    ------
    UserInputError
        It can not be read or found.
    """
    try:
        results = read_results(study)
    except NotStartedError:
        if is_candidate(text):
            raise
        results = None
    if results is not None and text == BASELINE_NAME:
        return results, BASELINE, str(BASELINE)
    if results is not None and is_candidate(text):
        number = candidate_number(results, text)
        return results, number, str(number)
    row, source = named_profile(study, text)
    stem = source.stem if isinstance(source, Path) else source
    return study if results is None else results, array_to_profile(row), f"of_{stem}"


def is_candidate(text: str) -> bool:
    """Say whether a text names a candidate: its number, or a pick."""
    return text in (*PICKS, *NEAREST) or text.isdigit()


def selected_profile(
    study: Study, candidate: str | None, path: Path | None
) -> tuple[Floats, str, str]:
    """Return a profile's row, what to call it, and a stem for files about it.

    Parameters
    ----------
    study : Study
    candidate : str or None
        A number, or the name of a pick.
    path : Path or None
        A profile file.

    Raises
    ------
    UserInputError
        Both are given, or one can not be read or found.
    """
    if candidate is not None and path is not None:
        raise UserInputError("give either a candidate or a profile file, got both")
    if path is not None:
        return profile_to_array(load_profile(path)), str(path), path.stem
    if candidate is None:
        return profile_to_array(study.baseline), "the baseline", "baseline"
    results = read_results(study)
    number = candidate_number(results, candidate)
    called = f"candidate {number}" + "".join(
        f" ({name})" for name in results.pick_names(number)[:1]
    )
    return candidate_profile(results, number), called, f"candidate_{number}"
