"""The profile that a command is about: a candidate, a file of the user's own, or the baseline."""

from pathlib import Path

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import candidate_number, read_results
from optimizer.base.errors import UserInputError
from optimizer.study.load import load_profile
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array


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
