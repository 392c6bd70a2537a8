"""What a mixed riding day shows of how often a profile puts the nose down, and what it takes."""

import math
from collections.abc import Mapping

from objectives.event_rate import LEAST_DESIGN_EFFECT, EventRate, exposure_to_show
from optimizer.base.messages import two_digits
from optimizer.study.study import Study
from optimizer.validation.nose_down_rate import DayCount
from optimizer.validation.verdict import Grade, Verdict


def judge_day(study: Study, day: DayCount) -> Verdict:
    """Return the verdict on the nose-downs of the riding day."""
    rate, limit = day.per_1000_km, study.validation.nose_downs_per_1000_km
    grade = Grade.MARGINAL if rate.high > limit else Grade.PASS
    grade = Grade.FAIL if rate.low > limit else grade
    fewest_h, half_h = (_hours_to_show(day, limit, rate=share * limit) for share in (0.0, 0.5))
    return Verdict(
        item="Nose-downs in a mixed riding day",
        grade=grade,
        found=_found(day),
        asked=f"at most {limit:g} per 1,000 km with 95 % confidence. That takes some"
        f" {_hours(fewest_h)} without a nose-down, or {_hours(half_h)} where the true rate is half"
        " of it",
        change=_change(day, grade, limit),
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


def _found(day: DayCount) -> str:
    rate = day.per_1000_km
    ridden = f"{day.hours:,.0f} h and {day.kilometres:,.0f} km"
    others = _ranked(day.other_ends)
    by_rider = ", ".join(f"{name} {_rate(each)}" for name, each in day.by_rider.items())
    if rate.n_events:
        parts = [
            f"{rate.n_events} in {ridden}. Per 1,000 km, with the interval of 95 %: {_rate(rate)}",
            f"of each rider: {by_rider}",
            f"by cause: {_ranked(day.causes)}",
            f"by speed: {_ranked(day.by_pace)}",
        ]
    else:
        parts = [
            f"none in {ridden}, which shows at most {two_digits(rate.high)} per 1,000 km with 95 %"
            " confidence",
            f"of each rider: {by_rider}",
        ]
    return "; ".join([*parts, *([f"rides that ended otherwise: {others}"] if others else [])])


def _rate(rate: EventRate) -> str:
    if not rate.n_events:
        return f"none (up to {two_digits(rate.high)})"
    return f"{two_digits(rate.rate)} ({two_digits(rate.low)} to {two_digits(rate.high)})"


def _ranked(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{what} ({count})" for what, count in counts.items())


def _hours_to_show(
    day: DayCount, limit: float, *, rate: float, design_effect: float = LEAST_DESIGN_EFFECT
) -> float:
    """Return after how many hours a true rate is likely shown to be below a higher limit.

    Both are per 1,000 km. Without a nose-down the limit is then met for sure.
    """
    needed = exposure_to_show(limit, rate=rate, design_effect=design_effect)
    return 1000.0 * needed * day.hours / day.kilometres


def _hours(number: float) -> str:
    """Return hours in words, rounded up to two digits."""
    step = 10.0 ** max(math.floor(math.log10(number)) - 1, 0)
    return f"{step * math.ceil(number / step):,.0f} h"


def _change(day: DayCount, grade: Grade, limit: float) -> str:
    rate = day.per_1000_km
    if grade is Grade.PASS:
        return ""
    if not rate.n_events:
        fewest = _hours(_hours_to_show(day, limit, rate=0.0))
        return f"ride {fewest} or more, by validation.hours; without a nose-down that is enough"
    profile = (
        "choose a candidate of fewer nose-downs, or add rides with what threw riders most"
        f" ({next(iter(day.causes), '')}) to the study"
    )
    if grade is Grade.FAIL:
        return profile
    if rate.rate >= limit:
        return f"{profile}. More validation.hours help only if the true rate is below {limit:g}"
    hours = _hours_to_show(day, limit, rate=rate.rate, design_effect=rate.design_effect)
    return (
        f"{profile}. If {two_digits(rate.rate)} is the true rate, some {_hours(hours)} show that it"
        f" is below {limit:g}"
    )
