"""Prove a selected profile before the first ride: everything it is ridden on, and the verdicts."""

import dataclasses
import math

from objectives.event_rate import LEAST_DESIGN_EFFECT, exposure_to_show
from optimizer.analysis.front_profiles import FrontProfiles
from optimizer.base.progress import UNWATCHED, Stages
from optimizer.riding_day.laid_ahead import start_processes
from optimizer.study.study import Study
from optimizer.validation.accelerated_count import AcceleratedCount, accelerated_count
from optimizer.validation.early_ends import (
    judge_faults,
    judge_held_out,
    judge_own_rides,
    judge_tolerances,
)
from optimizer.validation.hardest_rides import drawn_hours
from optimizer.validation.loop_margins import judge_margins
from optimizer.validation.nose_down_rate import DayCount, batches_together, ride_days
from optimizer.validation.remedies import Remedies, remedies_of_day
from optimizer.validation.rides import fault_rides
from optimizer.validation.verdict import Grade, Verdict
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
    profile: Floats,
    *,
    front: FrontProfiles | None = None,
    accelerated_h: float | None = None,
    n_jobs: int = 1,
    stages: Stages = UNWATCHED,
) -> Report:
    """Ride a profile on what it was not tuned on and judge it.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    front : FrontProfiles or None
        Other profiles that ride what this one does not survive.
    accelerated_h : float or None
        Hours of the riding day over which its nose-downs are estimated besides.
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
    verdicts = [judge_own_rides(study, profile, n_jobs=n_jobs)]
    stages.begin("riding courses and riders it was not tuned on")
    verdicts.append(judge_held_out(study, profile, n_jobs=n_jobs))
    stages.begin("riding the tolerances")
    verdicts.append(judge_tolerances(study, profile, n_jobs=n_jobs))
    stages.begin("working out the loop's margins")
    verdicts.append(judge_margins(study, profile))
    stages.begin("riding days, in hours", hours)
    day = ride_days(study, profile, hours=hours, n_jobs=n_jobs, advance=stages.advance)
    verdicts.append(judge_day(study, day))
    stages.begin("riding nose-downs again, with one thing changed")
    remedies = remedies_of_day(study, profile, day.nose_downs, front=front, n_jobs=n_jobs)
    accelerated = None
    if accelerated_h is not None:
        stages.begin("finding the hardest rides, in hours", accelerated_h)
        accelerated = accelerated_count(
            study, profile, day, hours=accelerated_h, n_jobs=n_jobs, advance=stages.advance
        )
    stages.begin("riding with faults")
    verdicts += judge_faults(fault_rides(study), profile, n_jobs=n_jobs, device=study.device)
    return Report(verdicts=verdicts, day=day, remedies=remedies, accelerated=accelerated)


def judge_day(study: Study, day: DayCount) -> Verdict:
    """Return the verdict on the nose-downs of the riding day."""
    rate, limit = day.per_1000_km, study.validation.nose_downs_per_1000_km
    grade = Grade.MARGINAL if rate.high > limit else Grade.PASS
    grade = Grade.FAIL if rate.low > limit else grade
    fewest_h, half_h = (_hours_to_show(day, limit, rate=share * limit) for share in (0.0, 0.5))
    ranked, paces, others = (
        ", ".join(f"{what} ({count})" for what, count in counts.items())
        for counts in (day.causes, day.by_pace, day.other_ends)
    )
    by_rider = ", ".join(
        f"{name} {each.rate:.3g} ({each.low:.3g} to {each.high:.3g})"
        for name, each in day.by_rider.items()
    )
    return Verdict(
        item="Nose-downs in a mixed riding day",
        grade=grade,
        found=f"{rate.n_events} in {day.hours:.0f} h and {day.kilometres:.0f} km:"
        f" {rate.rate:.3g} per 1,000 km ({rate.low:.3g} to {rate.high:.3g}, 95 %)"
        f"; by rider per 1,000 km: {by_rider}"
        + (f"; by cause: {ranked}; by speed: {paces}" if ranked else "")
        + (f"; rides that ended otherwise: {others}" if others else ""),
        asked=f"at most {limit:g} per 1,000 km with 95 % confidence, which takes {fewest_h:.0f} h"
        f" without a nose-down, and about {half_h:.0f} h if the true rate is half of that",
        change=_change_for(day, grade, limit),
        numbers={
            "hours": day.hours,
            "kilometres": day.kilometres,
            "nose_downs": rate.n_events,
            "per_1000_km": rate.rate,
            "per_1000_km_low": rate.low,
            "per_1000_km_high": rate.high,
            "hours_without_a_nose_down": fewest_h,
            "hours_at_half_the_limit": half_h,
            "design_effect": rate.design_effect,
        },
    )


def _hours_to_show(
    day: DayCount, limit: float, *, rate: float, design_effect: float = LEAST_DESIGN_EFFECT
) -> float:
    """Return after how many hours a true rate is likely shown to be below a higher limit.

    Both are per 1,000 km. Without a nose-down the limit is then met for sure.
    """
    needed = exposure_to_show(limit, rate=rate, design_effect=design_effect)
    return 1000.0 * needed * day.hours / day.kilometres


def _change_for(day: DayCount, grade: Grade, limit: float) -> str:
    rate = day.per_1000_km
    if grade is Grade.PASS:
        return ""
    if not rate.n_events:
        hours = _hours_to_show(day, limit, rate=0.0)
        return f"ride {hours:.0f} h or more without a nose-down: validation.hours"
    profile = (
        "choose a candidate of fewer nose-downs, or add rides with what threw riders most"
        f" ({next(iter(day.causes), '')}) to the study"
    )
    if grade is Grade.FAIL:
        return profile
    if rate.rate >= limit:
        return f"more validation.hours help only if the true rate is below {limit:g}; {profile}"
    hours = _hours_to_show(day, limit, rate=rate.rate, design_effect=rate.design_effect)
    return (
        f"if {rate.rate:.2g} is the true rate, about {hours:.0f} validation.hours show that it is"
        f" below {limit:g}; or {profile}"
    )
