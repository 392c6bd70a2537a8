"""What the constraints on the rides that measure handling found and ask, in words."""

import dataclasses
import math
from collections.abc import Mapping, Sequence

import numpy as np

from objectives import outcome_codes
from objectives.handling import HANDLING_NAMES, least_warning_s, must_be_finished
from objectives.handling_constraints import handling_met
from objectives.ride_scores import NOT_RIDDEN
from optimizer.analysis.ridden_profile import (
    ALL,
    HEAVIEST,
    LIGHTEST,
    NOT_ASKED,
    RiddenProfile,
    band,
    counted,
    measured,
    named,
)
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.kernel.outcomes import Outcome


def handling_words(ridden: RiddenProfile) -> dict[str, tuple[str, str]]:
    """Return what each constraint on handling found and asks, by its name."""
    return {
        "late_warning": _late_warning(ridden),
        "handling_end": _handling_end(ridden),
        "handling": _handling(ridden),
    }


def _late_warning(ridden: RiddenProfile) -> tuple[str, str]:
    least, rules = ridden.rules.settings.least_warning_s, ridden.rules.handling
    asked = f"at least {least:g} s" if least and rules.lean_places else NOT_ASKED
    each = {
        place: float(
            least_warning_s(
                ridden.handling[np.newaxis], dataclasses.replace(rules, lean_places=(place,))
            )[0]
        )
        for place in rules.lean_places
    }
    known = {place: value for place, value in each.items() if not math.isnan(value)}
    if not known:
        return "no rider who leans too far was ridden", asked
    worst = min(known, key=known.__getitem__)
    if math.isinf(known[worst]):
        return "no ride of a rider who leans too far ends early", asked
    name = ridden.study.handling[worst].name
    return f"a rider who leans too far is warned {known[worst]:.2g} s before the end: {name}", asked


def unfinished_rides(study: Study, handling: Floats) -> list[str]:
    """Return in words which handling rides a profile does not finish, and why.

    Parameters
    ----------
    study : Study
    handling : (handling ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`.
    """
    [codes] = outcome_codes(handling[np.newaxis])
    return [
        f"{ride.name} ({Outcome(code).message})"
        for ride, code in zip(study.handling, codes.tolist(), strict=True)
        if code not in (NOT_RIDDEN, Outcome.RIDDEN) and must_be_finished(ride)
    ]


def _handling_end(ridden: RiddenProfile) -> tuple[str, str]:
    names = unfinished_rides(ridden.study, ridden.handling)
    rides = [ride for ride in ridden.study.handling if must_be_finished(ride)]
    [codes] = outcome_codes(ridden.handling[np.newaxis])
    to_finish = ridden.rules.handling.to_finish
    ended = counted(
        len(names), rides, (codes != NOT_RIDDEN)[to_finish], "that measure handling ended early"
    )
    return ended + named(names), "none"


def _handling(ridden: RiddenProfile) -> tuple[str, str]:
    settings, base = ridden.rules.settings, ridden.rules.handling.baseline
    met = handling_met(ridden.numbers, base, settings)
    asked = {name: _asked_of(ridden, name) for name in HANDLING_NAMES}
    outside = [
        name for name, is_met in zip(HANDLING_NAMES, met.tolist(), strict=True) if not is_met
    ]
    if not any(asked.values()):
        return "nothing is asked", NOT_ASKED
    if not outside:
        return "handling is as asked", _joined(asked, [name for name in asked if asked[name]])
    found = "; ".join(
        f"{name} is {measured(ridden.number(name, LIGHTEST))} for the lightest rider and"
        f" {measured(ridden.number(name, HEAVIEST))} for the heaviest"
        for name in outside
    )
    return found, _joined(asked, outside)


def _asked_of(ridden: RiddenProfile, name: str) -> str:
    """Return what is asked of one number of handling, or nothing."""
    settings, base = ridden.rules.settings, ridden.rules.handling.baseline
    parts = []
    low, high = settings.handling.get(name, (-math.inf, math.inf))
    if math.isfinite(low) or math.isfinite(high):
        parts.append(band(low, high))
    if name in settings.rider_difference:
        parts.append(f"riders differ by at most {settings.rider_difference[name]:g}")
    if settings.like_baseline_percent is not None and base is not None:
        ends = base[HANDLING_NAMES.index(name), :ALL]
        if np.isfinite(ends).all():
            parts.append(
                f"within {settings.like_baseline_percent:g} % of the baseline's {ends[0]:.3g} and"
                f" {ends[1]:.3g}"
            )
    return ", ".join(parts)


def _joined(asked: Mapping[str, str], names: Sequence[str]) -> str:
    return "; ".join(f"{name} {asked[name]}" for name in names)
