"""What statics say of a study, in words: what each rider has left, and which rides are hopeless."""

from collections.abc import Mapping, Sequence
from typing import Any

from optimizer.analysis.ride_statics import Limit, RideStatics, statics_of
from optimizer.study.study import Study

_LITTLE_LEFT = 0.9  # share of the current from which on hardly any is left: assumed
_NAMED = 4  # courses in a line

_REMEDIES: Mapping[Limit, str] = {
    Limit.PHASE: "a motor of lower Kv, or drive.phase_current_limit_a if the drive allows more",
    Limit.VOLTAGE: "a lower speed in the course, more cells, or a motor of higher Kv",
    Limit.PACK: "a lower speed in the course, or the battery and regen current limits of the drive",
}


def statics_rows(found: Sequence[RideStatics]) -> list[dict[str, Any]]:
    """Return the hardest ride of each rider, a row each, in the riders' order."""
    riders = dict.fromkeys(_rider(one) for one in found)
    rows = []
    for rider in riders:
        own = [one for one in found if _rider(one) == rider]
        hardest = max(own, key=lambda one: one.used_ratio)
        rows.append(
            {
                "rider": rider,
                "hardest_course": _course(hardest),
                "grade_percent": hardest.grade_percent,
                "speed_mps": hardest.speed_mps,
                "needed_a": abs(hardest.needed_a),
                "limit_a": abs(hardest.limit_a),
                "limited_by": str(hardest.limit),
                "left_percent": max(100.0 * (1.0 - hardest.used_ratio), 0.0),
                "nose_room_deg": min(one.nose_room_deg for one in own),
            }
        )
    return rows


def hopeless_lines(found: Sequence[RideStatics]) -> list[str]:
    """Return what no profile can hold, by its limit and its rider, with what would help."""
    lines = []
    for rider in dict.fromkeys(map(_rider, found)):
        own = [one for one in found if _rider(one) == rider]
        for limit in Limit:
            beyond = [one for one in own if one.used_ratio >= 1.0 and one.limit is limit]
            if beyond:
                lines.append(_beyond(rider, beyond, limit))
        touching = [one for one in own if min(one.nose_room_deg, one.tail_room_deg) <= 0.0]
        if touching:
            lines.append(
                f"{rider} can not ride {_courses(touching)}: there even a level deck touches the"
                " road, for the grade is beyond frame.nose_contact_deg or tail_contact_deg. Ride it"
                " less steep, or without this rider."
            )
    return lines


def tight_lines(found: Sequence[RideStatics]) -> list[str]:
    """Return who has hardly any current left for balance, and where."""
    lines = []
    for rider in dict.fromkeys(map(_rider, found)):
        tight = [
            one for one in found if _rider(one) == rider and _LITTLE_LEFT <= one.used_ratio < 1.0
        ]
        if tight:
            most = max(tight, key=lambda one: one.used_ratio)
            lines.append(
                f"{rider} has little left on {_courses(tight)}: to keep {most.grade_percent:.0f} %"
                f" at {most.speed_mps:.1f} m/s takes {100.0 * most.used_ratio:.0f} % of the"
                " current."
            )
    return lines


def hopeless_rides(study: Study) -> list[str]:
    """Return the same as `hopeless_lines` for a study's own rides."""
    return hopeless_lines(statics_of(study.rides))


def _beyond(rider: str, beyond: Sequence[RideStatics], limit: Limit) -> str:
    worst = max(beyond, key=lambda one: (one.used_ratio, abs(one.needed_a)))
    held = (
        f"up to {abs(worst.held_percent):.0f} %"
        if limit is Limit.PHASE
        else f"up to {worst.held_mps:.1f} m/s"
    )
    return (
        f"{rider} can not hold {_courses(beyond)}: to keep {worst.grade_percent:.0f} % at"
        f" {worst.speed_mps:.1f} m/s on {_course(worst)} takes {abs(worst.needed_a):.0f} A, and the"
        f" {limit} leaves {abs(worst.limit_a):.0f} A there, which holds {held}. What helps:"
        f" {_REMEDIES[limit]}; or leave this rider out of courses.{_course(worst)}.riders."
    )


def _courses(rides: Sequence[RideStatics]) -> str:
    names = list(dict.fromkeys(map(_course, rides)))
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def _course(one: RideStatics) -> str:
    return one.ride.partition("/")[0]


def _rider(one: RideStatics) -> str:
    return one.ride.partition("/")[2]
