"""The verdict on the linearised loop: its margins over speeds, riders, tolerances and charge."""

from collections.abc import Sequence

import numpy as np

from optimizer.study.study import Study
from optimizer.validation.recoverable_pitch import (
    RecoverablePitch,
    in_words,
    recoverable_pitches,
)
from optimizer.validation.rides import tolerance_draws
from optimizer.validation.verdict import Grade, Verdict, worst_of
from plant.arrays import Floats
from plant.linear.balance_loop import LoopGains, loop_gains, loop_margins, loop_plant
from plant.linear.margins import Margins

SPEEDS_MPS = (0.5, 2.0, 5.0, 8.0)
_END_SPEEDS_MPS = (SPEEDS_MPS[0], SPEEDS_MPS[-1])  # between them no margin is less
_N_DRAWS = 16  # boards and riders drawn; each costs more than a ride
_DAY_SPEEDS = (0.25, 0.5, 0.75, 1.0)  # of the fastest that is wanted in the riding day
_NEAR = 0.8  # a margin of this share of what is asked is still marginal
_LEAST_RECOVERABLE = 0.5  # of the angle at which the nose touches
_LONGEST_DELAY_S = 0.05  # a longer delay margin counts as none


def judge_margins(study: Study, profile: Floats) -> Verdict:
    """Return the verdict on the margins of the balance loop and on the recoverable pitch error.

    The margins are over speeds, riders and draws of the tolerances. They do not depend on charge
    while the drive has the current that is asked for; `recoverable_pitch.py` says up to which pitch
    error that is on a full, half and low pack, at the speeds of the riding day. A pack passes where
    it is up to the nose's contact, and fails below half of it: rides show whether so large an error
    comes at all.
    """
    gains = loop_gains(profile[None, :])
    riders = study.every_rider
    found = [
        loop_margins(loop_plant(study.board, riders, speeds_mps=[speed]), gains)
        for speed in SPEEDS_MPS
    ]
    drawn = [
        loop_margins(
            loop_plant(
                board,
                [ways[number % len(ways)] for ways in people.values()],
                speeds_mps=_END_SPEEDS_MPS,
            ),
            gains,
        )
        for number, (board, people) in enumerate(tolerance_draws(study)[:_N_DRAWS])
    ]
    here, there = _least(found), _least(drawn)
    day_mps = [share * study.riding_day.fast_mps for share in _DAY_SPEEDS]
    on_day = [loop_margins(loop_plant(study.board, riders, speeds_mps=[v]), gains) for v in day_mps]
    packs = recoverable_pitches(study, profile, _least_gains(on_day, gains), speeds_mps=day_mps)
    asked = _asked(study)
    nose_deg = study.board.frame.nose_contact_deg
    recoverable = min(pack.balanced_deg for pack in packs) / nose_deg
    nominal = min(here[name] / asked[name] for name in asked)
    far = min((there[name] / asked[name] for name in asked), default=nominal)
    loop_grade = _graded(nominal, far)
    grade = worst_of([loop_grade, _graded_current(recoverable)])
    return Verdict(
        item="Margins of the linearised loop, delay included",
        grade=grade,
        found=f"over {len(SPEEDS_MPS)} speeds and {len(riders)} riders: {_margins_in_words(here)};"
        f" over {len(drawn)} draws of the tolerances: {_sensitivity_in_words(there)};"
        " current to balance a nose that is down by:"
        f" {'; '.join(in_words(pack) for pack in packs)}",
        asked=_asked_in_words(study),
        change=_change_for(loop_grade, recoverable),
        numbers={
            "max_sensitivity": 1.0 / max(here["sensitivity"], 1e-9),
            "phase_margin_deg": here["phase"],
            "gain_margin_ratio": float(np.exp(here["gain"])),
            "delay_margin_s": here["delay"],
            "max_sensitivity_in_tolerances": 1.0 / max(there["sensitivity"], 1e-9),
            **_numbers(packs),
        },
    )


def _graded(nominal: float, far: float) -> Grade:
    """Return the grade of the least margins, nominal and within the tolerances.

    Each is over what is asked; 0 and below is an unstable loop.
    """
    if nominal < _NEAR or far <= 0.0:
        return Grade.FAIL
    return Grade.PASS if nominal >= 1.0 and far >= _NEAR else Grade.MARGINAL


def _graded_current(recoverable: float) -> Grade:
    """Return the grade of the largest recoverable pitch error, over the nose's contact angle."""
    if recoverable < _LEAST_RECOVERABLE:
        return Grade.FAIL
    return Grade.PASS if recoverable >= 1.0 else Grade.MARGINAL


def _margins_in_words(least: dict[str, float]) -> str:
    """Return the least margins in words; an unstable loop has none."""
    if least["sensitivity"] <= 0.0:
        return _sensitivity_in_words(least)
    return (
        f"{_sensitivity_in_words(least)}, phase margin {least['phase']:.0f} deg, gain margin"
        f" x{np.exp(least['gain']):.2f}, delay margin {1000 * least['delay']:.1f} ms"
    )


def _sensitivity_in_words(least: dict[str, float]) -> str:
    if least["sensitivity"] <= 0.0:
        return "the loop is UNSTABLE"
    return f"largest sensitivity {1.0 / least['sensitivity']:.2f}"


def _asked(study: Study) -> dict[str, float]:
    settings = study.settings
    return {
        "sensitivity": 1.0 / settings.sensitivity_limit,
        "phase": settings.phase_margin_deg,
        "gain": float(np.log(settings.gain_margin_ratio)),
    }


def _asked_in_words(study: Study) -> str:
    settings = study.settings
    return (
        f"sensitivity at most {settings.sensitivity_limit:g}, phase margin at least"
        f" {settings.phase_margin_deg:g} deg, gain margin at least x{settings.gain_margin_ratio:g};"
        f" {100 * _NEAR:.0f} % of each within the tolerances; on every pack, where no warning"
        f" comes, up to {study.riding_day.fast_mps:g} m/s, current until the nose"
        f" touches at {study.board.frame.nose_contact_deg:g} deg, half of which fails"
    )


def _change_for(loop_grade: Grade, recoverable: float) -> str:
    """Return what to change for the loop, and for the current that runs out; empty for neither."""
    parts = []
    if loop_grade is not Grade.PASS:
        parts.append(
            "search with a smaller sensitivity_limit, or change inner_gain_a_per_deg,"
            " rate_gain_a_per_deg_per_s or rate_filter_hz: too much gain for the delay narrows the"
            " margins, and so does too little damping"
        )
    if recoverable < 1.0:
        parts.append(
            "raise reserve_warning_ratio or bus_warning_margin_v, so that a rider is warned before"
            " the current runs out, ride slower on such a pack, or give the board more cells and a"
            " higher phase_current_limit_a"
        )
    return "; ".join(parts)


def _numbers(packs: Sequence[RecoverablePitch]) -> dict[str, float]:
    return {
        f"{name}_{pack.pack}_pack_{unit}": getattr(pack, f"{name}_{unit}")
        for pack in packs
        for name, unit in (
            ("balanced", "deg"),
            ("answered", "deg"),
            ("driving_left", "a"),
            ("braking_left", "a"),
            ("warned_from", "mps"),
        )
    }


def _least_gains(found: Sequence[Margins], gains: LoopGains) -> Floats:
    """Return the least stiffness that balances, (speed, rider), in A/deg; inf where none does.

    Of the gain points, each scaled down with its damping, the one that needs most.
    """
    stiffness = gains.stiffness_a_per_deg[0][:, None]
    return np.array(
        [
            np.where(
                margins.stable[0].all(axis=0),
                (margins.gain_down_ratio[0] * stiffness).max(axis=0),
                np.inf,
            )
            for margins in found
        ]
    )


def _least(found: Sequence[Margins]) -> dict[str, float]:
    """Return the least margin of each kind; below zero for an unstable loop."""
    values: dict[str, list[float]] = {"sensitivity": [], "phase": [], "gain": [], "delay": []}
    for margins in found:
        side = np.where(margins.stable, 1.0, -1.0)
        for name, value in (
            ("sensitivity", margins.modulus),
            ("phase", np.minimum(margins.phase_deg, 180.0)),
            ("gain", np.minimum(margins.gain_room, 5.0)),
            ("delay", np.minimum(margins.delay_s, _LONGEST_DELAY_S)),
        ):
            values[name].append(float((side * value).min()))
    return {name: min(kept) for name, kept in values.items() if kept}
