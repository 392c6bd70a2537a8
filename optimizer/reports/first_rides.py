"""A staged plan for the first rides on a profile: what to try, what to feel for, when to stop."""

import dataclasses

import numpy as np

from optimizer.analysis.candidate import candidate_profile, failures_of
from optimizer.analysis.results import Results
from optimizer.analysis.rider_effects import largest_changes
from optimizer.base.cautions import CAUTIONS
from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from plant.description.course import Course, Manoeuvre, Patch, Road, Start
from plant.description.profile_array import array_to_profile
from plant.kernel.simulate import Ride
from plant.kernel.trace import trace

_NOTICED_DEG = 1.0  # of warning tilt, from which a rider feels it
_CALM_SHARE = 0.6  # of the speed at which the warning comes, for the stages before it


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One stage of the plan."""

    name: str
    do: str
    feel_for: str
    stop_when: str


def warning_speeds(results: Results, number: int) -> dict[str, float]:
    """Return the speed in m/s at which each rider is warned on the level; NaN if never.

    Each speeds up by 0.4 m/s2 to 12 m/s on smooth asphalt.
    """
    course = Course(
        name="speed up",
        title="Speed up on the level",
        road=Road(patches=(Patch(from_m=0.0, surface=catalogue_surface(ASPHALT)),)),
        manoeuvre=Manoeuvre(
            duration_s=30.0,
            start=Start.ROLLING,
            speed_mps=((0.0, 3.0), (1.0, 3.0), (23.5, 12.0)),
        ),
        road_seed=1,
    )
    profile = candidate_profile(results, number)
    found = {}
    for name, rider in results.study.riders.items():
        ride = Ride(name=name, course=course, rider=rider, board=results.study.board, noise_seed=1)
        ridden = trace(profile, ride)
        felt = np.flatnonzero(ridden.warning_lift_deg > _NOTICED_DEG)
        found[name] = float(ridden.speed_mps[felt[0]]) if len(felt) else float("nan")
    return found


def stages(results: Results, number: int) -> list[Stage]:
    """Return the stages of the first rides on a candidate, in order."""
    profile = array_to_profile(candidate_profile(results, number))
    speeds = [speed for speed in warning_speeds(results, number).values() if np.isfinite(speed)]
    top = min(speeds) if speeds else 8.0
    calm = _CALM_SHARE * top
    engage = profile.engagement
    return [
        Stage(
            name="On the stand, nobody on it",
            do="Wheel off the ground. Tilt the board slowly by hand, then quickly; press a tail"
            " that is held.",
            feel_for="Torque against the tilt on both sides, no hum, no drift, nothing hot.",
            stop_when="It drives the wrong way, hums, or a number reads other than on the bench.",
        ),
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
            name=f"Up to {3.6 * calm:.0f} km/h",
            do="Speed up gently and slow down, ten times; then wide turns.",
            feel_for="The nose dips when you push and no more; it does not dip in a turn.",
            stop_when="The nose dips more than last time for the same push.",
        ),
        Stage(
            name=f"Find the warning, at about {3.6 * top:.0f} km/h for the rider warned first",
            do="Only where law, ground and guards allow that speed; else leave it out. One rider,"
            " full pack, warm drive: speed up slowly until the nose lifts, then slow down at once.",
            feel_for=f"A lift of up to {profile.protection.warning_lift_deg:.0f} deg that you can"
            " not overlook, with time to slow down.",
            stop_when=f"There is no lift by {3.6 * top:.0f} km/h: slow down, do not look for it"
            " further up.",
        ),
        Stage(
            name="Slopes",
            do="5 %, then 10 %, up and down, then steeper by 5 % at a time as far as the study's"
            " rides; never first on a low or a full pack.",
            feel_for="Firmer on the hill, the nose up on a climb, the tail clear on a descent.",
            stop_when="A warning comes on a slope that was ridden before without one.",
        ),
        Stage(
            name="The other riders",
            do="From the first stage again, lightest and heaviest last.",
            feel_for="What the first rider felt.",
            stop_when="A rider can not bring the tail down, or is warned where others are not.",
        ),
    ]


def plan_text(results: Results, number: int) -> str:
    """Return the plan as text in Markdown, cautions first."""
    lines = [f"# First rides on candidate {number}", ""]
    lines += [f"- {caution}" for caution in CAUTIONS]
    failed = failures_of(results, number)
    if failed:
        lines += ["", f"**This profile FAILS a constraint: {'; '.join(failed)}. Do not ride it.**"]
    lines += ["", "## What changed most, and what you will notice", ""]
    lines += [f"- {change}" for change in largest_changes(results, number)] or ["- nothing"]
    lines += ["", "## Warnings on the level, as simulated", ""]
    for name, speed in warning_speeds(results, number).items():
        told = f"about {3.6 * speed:.0f} km/h" if np.isfinite(speed) else "not below 43 km/h"
        lines.append(f"- {name}: {told}")
    lines += [
        "",
        "## Stages",
        "",
        "Each on a day without hurry; go on only when one is boring.",
        "",
    ]
    for place, stage in enumerate(stages(results, number), start=1):
        lines += [
            f"{place}. **{stage.name}.** {stage.do}",
            f"   Feel for: {stage.feel_for}",
            f"   Stop when: {stage.stop_when}",
        ]
    return "\n".join([*lines, ""])
