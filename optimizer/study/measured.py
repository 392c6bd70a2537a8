"""What a study asks for must be measured by at least one of its rides."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from objectives.handling import asked_climb_m, lightest_and_heaviest
from objectives.score_settings import ScoreSettings
from objectives.scoring_context import spread_pairs
from optimizer.base.errors import StudyFileError
from plant.kernel.simulate import Ride

_MEASURED_IN = {"hold_s": "level_error_deg", "count_s": "excess_current_a"}
_MEASURES_BOTH = "steep_up"  # a course of the catalogue


def refuse_unmeasured(rides: Sequence[Ride], settings: ScoreSettings, *, path: Path) -> None:
    """Refuse a study that asks for what none of its rides measures.

    Parameters
    ----------
    rides : sequence of Ride
    settings : ScoreSettings
    path : Path
        The study file, for messages.

    Raises
    ------
    StudyFileError
        No ride has a window of an objective; a limit on the spread between riders is asked and no
        course compares them; or a speed on climbs is asked and a rider rides none.
    """
    for key, objective in _MEASURED_IN.items():
        if not any(getattr(ride.course.manoeuvre, key) for ride in rides):
            raise StudyFileError(
                f"{path}: courses: at least one must have a window {key}, in which {objective} is"
                f" measured, got none; add a course such as {_MEASURES_BOTH}, or write"
                f" manoeuvre.{key} = [[1.0, 6.0]] in one"
            )
    if settings.rider_spread_limit is not None and not len(_compared(rides)):
        raise StudyFileError(
            f"{path}: constraints.rider_spread_limit: at least one course with a window hold_s must"
            " be ridden by the lightest and the heaviest rider, got none; add one, or take the"
            " limit out"
        )
    asked = _climbs_asked(settings)
    if asked and not _climb(rides):
        raise StudyFileError(
            f"{path}: constraints.{asked}: the lightest and the heaviest rider must each ride a"
            " climb, got none for one of them; add a course such as steep_up, or take the limit out"
        )


def _climbs_asked(settings: ScoreSettings) -> str:
    """Return the key that asks each rider for a speed on climbs, or nothing."""
    name = "climb_speed_ratio"
    if name in settings.rider_difference:
        return f"rider_difference.{name}"
    band = settings.handling.get(name, (-np.inf, np.inf))
    return f"handling.{name}" if np.isfinite(band).any() else ""


def _climb(rides: Sequence[Ride]) -> bool:
    """Return whether both riders between whom handling is compared ride a climb."""
    climbing = {ride.rider_name for ride in rides if asked_climb_m(ride.course) > 0.0}
    return climbing.issuperset(lightest_and_heaviest(rides))


def _compared(rides: Sequence[Ride]) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
    holds_level = np.array([bool(ride.course.manoeuvre.hold_s) for ride in rides])
    riders = tuple(dict.fromkeys(ride.rider for ride in rides))
    return spread_pairs(rides, riders, holds_level)
