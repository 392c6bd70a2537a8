"""Prove a selected profile before the first ride: everything it is ridden on, and the verdicts."""

import dataclasses
import math
from collections.abc import Callable

from optimizer.analysis.front_profiles import FrontProfiles
from optimizer.base.progress import UNWATCHED, Stages
from optimizer.riding_day.laid_ahead import start_processes
from optimizer.study.study import Study
from optimizer.validation.accelerated_count import AcceleratedCount, accelerated_count
from optimizer.validation.day_verdict import judge_day
from optimizer.validation.early_ends import (
    judge_faults,
    judge_held_out,
    judge_own_rides,
    judge_tolerances,
)
from optimizer.validation.hardest_rides import drawn_hours
from optimizer.validation.loop_margins import judge_margins
from optimizer.validation.nose_down_rate import DayCount, batches_together, ride_same_days
from optimizer.validation.remedies import Remedies, remedies_of_day
from optimizer.validation.rides import fault_rides
from optimizer.validation.verdict import Verdict
from plant.arrays import Floats


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All verdicts on a profile, and more of the riding day behind one of them.

    Attributes
    ----------
    verdicts : list of Verdict
    day : DayCount
    remedies : Remedies or None
        None without a nose-down.
    accelerated : AcceleratedCount or None
        None if it was not asked for.
    """

    verdicts: list[Verdict]
    day: DayCount
    remedies: Remedies | None
    accelerated: AcceleratedCount | None


def validate(
    study: Study,
    profiles: Floats,
    *,
    n_remedied: int | None = None,
    front: Callable[[], FrontProfiles | None] = lambda: None,
    accelerated_h: float | None = None,
    n_jobs: int = 1,
    stages: Stages = UNWATCHED,
) -> list[Report]:
    """Ride profiles on what they were not tuned on, all on the same days, and judge each.

    What is found of a profile does not depend on the others.

    Parameters
    ----------
    study : Study
    profiles : (profile, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    n_remedied : int, optional
        Of so many of the first, remedies of the nose-downs are looked for; of all if not given.
    front : callable
        Gives other profiles that ride what a profile does not survive, or None; called where there
        is something of that kind.
    accelerated_h : float or None
        Hours of the riding day over which nose-downs are estimated besides.
    n_jobs : int
        Threads; the verdicts do not depend on it.
    stages : Stages
        Receives which part begins, and the hours of the riding day as they are ridden.
    """
    hours = study.validation.hours
    start_processes(
        n_courses=math.ceil(hours / drawn_hours(study, 1)),
        n_together=batches_together(study),
        n_jobs=n_jobs,
    )
    stages.begin("riding the study's own rides")
    own = [judge_own_rides(study, profile, n_jobs=n_jobs) for profile in profiles]
    stages.begin("riding courses and riders it was not tuned on")
    held_out = [judge_held_out(study, profile, n_jobs=n_jobs) for profile in profiles]
    stages.begin("riding the tolerances")
    tolerances = [judge_tolerances(study, profile, n_jobs=n_jobs) for profile in profiles]
    stages.begin("working out the loop's margins")
    margins = [judge_margins(study, profile) for profile in profiles]
    stages.begin("riding days, in hours", hours * len(profiles))
    days = ride_same_days(study, profiles, hours=hours, n_jobs=n_jobs, advance=stages.advance)
    stages.begin("riding nose-downs again, with one thing changed")
    remedied = len(profiles) if n_remedied is None else n_remedied
    remedies = [
        remedies_of_day(
            study,
            profile,
            day.nose_downs,
            front=front() if day.nose_downs else None,
            n_jobs=n_jobs,
        )
        if place < remedied
        else None
        for place, (profile, day) in enumerate(zip(profiles, days, strict=True))
    ]
    accelerated: list[AcceleratedCount | None] = [None] * len(profiles)
    if accelerated_h is not None:
        stages.begin("finding the hardest rides, in hours", accelerated_h)
        accelerated = [
            accelerated_count(
                study, profile, day, hours=accelerated_h, n_jobs=n_jobs, advance=stages.advance
            )
            for profile, day in zip(profiles, days, strict=True)
        ]
    stages.begin("riding with faults")
    faults = fault_rides(study)
    return [
        Report(
            verdicts=[
                own[place],
                held_out[place],
                tolerances[place],
                margins[place],
                judge_day(study, days[place]),
                *judge_faults(faults, profile, n_jobs=n_jobs, device=study.device),
            ],
            day=days[place],
            remedies=remedies[place],
            accelerated=accelerated[place],
        )
        for place, profile in enumerate(profiles)
    ]
