"""A staged plan for the first rides on a profile: what to try, what to feel for, when to stop."""

import dataclasses
from collections.abc import Mapping

from optimizer.analysis.candidate import candidate_profile, failures_of
from optimizer.analysis.known_verdict import known_verdict
from optimizer.analysis.results import Results
from optimizer.analysis.rider_effects import largest_changes
from optimizer.base.cautions import CAUTIONS
from optimizer.reports.rider_limits import RiderLimits, rider_limits, whole_percent
from optimizer.reports.warning_speeds import (
    SpeedUp,
    Warned,
    candidate_speed_ups,
    kmh,
    speed_up_in_words,
)
from plant.description.profile import Profile
from plant.description.profile_array import array_to_profile

_FIRST_SLOPE_PERCENT = 5.0
_CALM_SHARE = 0.6  # of the least speed of a warning, or of the fastest simulated, before it


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One stage of the plan."""

    name: str
    do: str
    feel_for: str
    stop_when: str


def stages(
    profile: Profile, found: Mapping[str, SpeedUp], limits: Mapping[str, RiderLimits]
) -> list[Stage]:
    """Return the stages of the first rides on a profile, in order.

    No stage is faster than a ride of the study that came to its end. Where a rider was not warned
    in time before the ride ended, or finished no ride, nobody is sent on the board at all.

    Parameters
    ----------
    profile : Profile
    found : mapping of a rider's name to SpeedUp
    limits : mapping of a rider's name to RiderLimits
    """
    if not_warned_in_time(found) or not all(one.fastest_mps for one in limits.values()):
        return [_on_the_stand()]
    slowest_mps = _CALM_SHARE * min(one.speed_mps for one in found.values())
    slowest_mps = min(slowest_mps, *(one.fastest_mps for one in limits.values()))
    warned_mps = [found[name].speed_mps for name in may_find_the_warning(found, limits)]
    return [
        _on_the_stand(),
        *_slow_stages(profile, calm_mps=slowest_mps),
        *([_find_the_warning(profile, min(warned_mps))] if warned_mps else []),
        *([_slopes()] if any(map(_has_slopes, limits.values())) else []),
        _the_other_riders(),
    ]


def may_find_the_warning(
    found: Mapping[str, SpeedUp], limits: Mapping[str, RiderLimits]
) -> list[str]:
    """Return the riders who are warned at a speed that a ride of the study has reached."""
    return [
        name
        for name, one in found.items()
        if one.warned is Warned.IN_TIME and one.speed_mps <= limits[name].fastest_mps
    ]


def not_warned_in_time(found: Mapping[str, SpeedUp]) -> list[str]:
    """Return the riders whose ride ended early without a warning in time."""
    return [name for name, one in found.items() if one.warned is Warned.TOO_LATE]


def _on_the_stand() -> Stage:
    return Stage(
        name="On the stand, nobody on it",
        do="Wheel off the ground. Tilt the board slowly by hand, then quickly; press a tail"
        " that is held.",
        feel_for="Torque against the tilt on both sides, no hum, no drift, nothing hot.",
        stop_when="It drives the wrong way, hums, or a number reads other than on the bench.",
    )


def _slow_stages(profile: Profile, *, calm_mps: float) -> list[Stage]:
    engage = profile.engagement
    return [
        Stage(
            name="Engage and stand, held by a helper",
            do=f"Tail down on level ground, bring the board up: it engages at about"
            f" {engage.engage_angle_deg:.0f} deg and takes over within"
            f" {engage.torque_build_up_s:.2g} s. Stand for a minute. Step off ten times.",
            feel_for="It comes level without a jerk and rests there without shaking.",
            stop_when="It shakes at rest, hums, or does not let go when you step off.",
        ),
        Stage(
            name="Walking pace",
            do="Straight lines at walking pace on level, open ground; stop by pressing the tail.",
            feel_for="The same answer each time; the tail comes down when you ask.",
            stop_when="It surges, rocks, or the stop comes later than you ask.",
        ),
        Stage(
            name=f"Up to {kmh(calm_mps)}",
            do="Speed up gently and slow down, ten times; then wide turns.",
            feel_for="The nose dips when you push and no more; it does not dip in a turn.",
            stop_when="The nose dips more than last time for the same push, or it lifts by itself.",
        ),
    ]


def _find_the_warning(profile: Profile, warned_mps: float) -> Stage:
    return Stage(
        name=f"Find the warning, at about {kmh(warned_mps)} for the rider warned first",
        do="Only where law, ground and guards allow that speed; else leave it out. One rider,"
        " full pack, warm drive: speed up slowly until the nose lifts, then slow down at once.",
        feel_for=f"A lift of up to {profile.protection.warning_lift_deg:.0f} deg that you can"
        " not overlook, with time to slow down.",
        stop_when=f"There is no lift by {kmh(warned_mps)}: slow down, do not look for it"
        " further up.",
    )


def _has_slopes(limit: RiderLimits) -> bool:
    return max(limit.up_percent, limit.down_percent) >= _FIRST_SLOPE_PERCENT


def _slopes() -> Stage:
    return Stage(
        name="Slopes",
        do=f"{_FIRST_SLOPE_PERCENT:g} %, then 10 %, up and down, then steeper by 5 % at a time, as"
        " far as each rider may (see above); never first on a low or a full pack.",
        feel_for="Firmer on the hill, the nose up on a climb, the tail clear on a descent.",
        stop_when="A warning comes on a slope that was ridden before without one.",
    )


def _the_other_riders() -> Stage:
    return Stage(
        name="The other riders",
        do="From the first stage again, lightest and heaviest last.",
        feel_for="What the first rider felt.",
        stop_when="A rider can not bring the tail down, or is warned where others are not.",
    )


def _warnings_in_words(found: Mapping[str, SpeedUp]) -> list[str]:
    """Return how each rider is warned on the level, as lines, and what follows from it."""
    lines = [f"- {name}: {speed_up_in_words(one)}" for name, one in found.items()]
    if not_warned_in_time(found):
        lines += ["", "No stage below has anybody on the board."]
    elif not any(one.warned is Warned.IN_TIME for one in found.values()):
        fastest_mps = min(one.speed_mps for one in found.values())
        lines += [
            "",
            f"No warning was found up to {kmh(fastest_mps)}. Nothing is known of a faster ride: do"
            " not look for a warning further up.",
        ]
    return lines


def _riders_in_words(found: Mapping[str, SpeedUp], limits: Mapping[str, RiderLimits]) -> list[str]:
    """Return what each rider may do, as lines: no more than was ridden to the end."""
    lines = []
    for name, limit in limits.items():
        if not limit.fastest_mps:
            lines.append(f"- {name}: NOT TO RIDE. No ride of the study came to its end.")
            continue
        slopes = (
            f"climbs up to {whole_percent(limit.up_percent)}, descents up to"
            f" {whole_percent(limit.down_percent)}"
        )
        lines.append(
            f"- {name}: at most {kmh(limit.fastest_mps)}; {slopes}.{_beyond(found, limits, name)}"
        )
    return lines


def _beyond(found: Mapping[str, SpeedUp], limits: Mapping[str, RiderLimits], name: str) -> str:
    """Return what to say of a warning that comes beyond the speeds that were ridden."""
    if found[name].warned is not Warned.IN_TIME or name in may_find_the_warning(found, limits):
        return ""
    return (
        f" The warning comes at {kmh(found[name].speed_mps)}, faster than any ride of the study:"
        " do not look for it."
    )


def plan_text(results: Results, number: int) -> str:
    """Return the plan as text in Markdown, cautions first."""
    lines = [f"# First rides on candidate {number}", ""]
    lines += [f"- {caution}" for caution in CAUTIONS]
    lines += ["", f"**{known_verdict(results, number).text}**"]
    failed = failures_of(results, number)
    if failed:
        lines += ["", f"**This profile FAILS a constraint: {'; '.join(failed)}. Do not ride it.**"]
    profile = candidate_profile(results, number)
    found = candidate_speed_ups(results, number)
    limits = rider_limits(results, number)
    unwarned = not_warned_in_time(found)
    if unwarned:
        lines += [
            "",
            "**This profile gives no warning in time before it throws a rider"
            f" ({', '.join(unwarned)}; see below). DO NOT RIDE IT. Choose another candidate, or"
            " search again with a higher reserve_warning_ratio or warning_lift_deg.**",
        ]
    lines += ["", "## What changed most, and what you will notice", ""]
    lines += [f"- {change}" for change in largest_changes(results, number)] or ["- nothing"]
    lines += ["", "## What each rider may do", ""]
    lines += ["No more than rides of the study that came to their end:", ""]
    lines += _riders_in_words(found, limits)
    lines += ["", "## Warnings on the level, as simulated", ""]
    lines += _warnings_in_words(found)
    lines += [
        "",
        "## Stages",
        "",
        "Each on a day without hurry; go on only when one is boring.",
        "",
    ]
    for place, stage in enumerate(stages(array_to_profile(profile), found, limits), start=1):
        lines += [
            f"{place}. **{stage.name}.** {stage.do}",
            f"   Feel for: {stage.feel_for}",
            f"   Stop when: {stage.stop_when}",
        ]
    return "\n".join([*lines, ""])
