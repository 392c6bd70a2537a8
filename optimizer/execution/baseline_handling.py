"""How the baseline of a study handles: what its candidates are compared with."""

import json

import numpy as np

from objectives import ride_columns, score_rules
from objectives.handling import HANDLING_NAMES, MEASURED_ON
from objectives.score import handling_of
from optimizer.execution.store import started_with
from optimizer.study.paths import STUDY_FILE, store_path
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array
from plant.kernel.simulate import simulate

BASELINE_HANDLING = "baseline_handling"  # under this name a store keeps it
_KEPT = 8
_found: dict[str, Floats] = {}


def baseline_handling(study: Study) -> Floats:
    """Return how the baseline handles, (number, rider), as `objectives.handling` measures it.

    It is a pure function of the study, on the noise of its rides: a study on fresh noise compares
    with the baseline on that noise. What a store keeps only saves the time to simulate it.

    Parameters
    ----------
    study : Study

    Raises
    ------
    UserInputError
        The store can not be read.
    """
    key = study.digest
    found = _found.get(key)
    if found is None:
        text = started_with(store_path(study.folder), BASELINE_HANDLING, study_digest=key)
        found = _measured(study) if text is None else np.array(json.loads(text), dtype=np.float64)
        while len(_found) >= _KEPT:
            del _found[next(iter(_found))]
        _found[key] = found
    return found


def baseline_inputs(study: Study) -> dict[str, str]:
    """Return how the baseline handles as a text that a store can freeze, by its name."""
    return {BASELINE_HANDLING: json.dumps(baseline_handling(study).tolist())}


def not_compared(study: Study) -> str:
    """Return in words what `like_baseline_percent` can not ask, or nothing.

    A number that a ride of the baseline does not give, because the ride ends early, can not be
    compared with. It is left out; all candidates must finish that ride.
    """
    if study.settings.like_baseline_percent is None:
        return ""
    found = dict(zip(HANDLING_NAMES, baseline_handling(study), strict=True))
    left_out = {name: course for name, course in MEASURED_ON.items() if np.isnan(found[name]).any()}
    if not left_out:
        return ""
    courses = ", ".join(left_out.values())
    return (
        f"{study.folder / STUDY_FILE}: constraints.like_baseline_percent: leaves out"
        f" {', '.join(left_out)}, since the baseline's rides over {courses} end early or show none;"
        " change the baseline, or ask by a band in constraints.handling"
    )


def _measured(study: Study) -> Floats:
    profile = profile_to_array(study.baseline)[np.newaxis]
    rides = study.rides + study.handling
    columns = ride_columns(simulate(profile, rides), rides)
    rules = score_rules(
        study.described_rides,
        ride_weight=study.ride_weights,
        settings=study.settings,
        handling=study.handling,
    )
    own, handling, _ = rules.parts(columns)
    numbers: Floats = handling_of(own, handling, profile, rules)[0]
    return numbers
