"""Verdicts on rides: how many of them, on what was not tuned on or goes wrong, end early."""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from objectives.ride_scores import nose_down_risk, share_not_ridden
from optimizer.analysis.constraint_facts import broken, constraint_facts
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.execution.reevaluation import own_rides_on_fresh_noise
from optimizer.study.study import Study
from optimizer.study.tolerance_draws import study_draws
from optimizer.study.validation_settings import Fault
from optimizer.validation.rides import DRAWN_FOR, held_out_rides, tolerance_rides
from optimizer.validation.verdict import Grade, Verdict
from plant.arrays import Floats
from plant.device import Device
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, Rides, simulate

_MOST_ENDED = 0.01  # share of rides that may end otherwise than nose down
_FEW_NOSE_DOWNS = 0.003  # share of rides with the nose down that is still marginal
_ASKED_OF_ENDS = (
    f"no nose-down (marginal up to {100 * _FEW_NOSE_DOWNS:g} %), other early ends at most"
    f" {100 * _MOST_ENDED:g} %"
)


def judge_own_rides(study: Study, profile: Floats, *, n_jobs: int) -> Verdict:
    """Return the verdict on the study's own rides and constraints, on fresh noise."""
    study = own_rides_on_fresh_noise(study)
    rules = rules_of(study, hard=False)
    scores, rides = ride_portfolio(study, profile[None, :], rules=rules, n_jobs=n_jobs)
    own, handling, _ = rules.parts(rides)
    failed = broken(
        constraint_facts(
            study, profile, own[0], handling[0], constraints=scores.constraints[0], rules=rules
        )
    )
    return Verdict(
        item="The study's own rides and constraints",
        grade=Grade.FAIL if failed else Grade.PASS,
        found="; ".join(failed) if failed else "every constraint is met",
        asked="every constraint of the study",
        change="choose another candidate of the front" if failed else "",
        numbers={"constraints_failed": len(failed)},
    )


def _ended(rides: Sequence[Ride], results: Rides) -> tuple[int, int, str]:
    """Return nose-downs, other early ends, and the rides that ended in words."""
    outcome = results.outcome[0]
    downs = int(np.count_nonzero(outcome == Outcome.NOSE_DOWN))
    others = int(np.count_nonzero(outcome != Outcome.RIDDEN)) - downs
    named = Counter(
        f"{ride.name} ({Outcome(int(code)).message})"
        for ride, code in zip(rides, outcome, strict=True)
        if code != Outcome.RIDDEN
    )
    most = [f"{name} x{count}" if count > 1 else name for name, count in named.most_common(3)]
    return downs, others, ", ".join(most)


def _counted(downs: int, others: int) -> str:
    """Return how many rides ended and how, in words."""
    words = f"{downs} nose-down{'' if downs == 1 else 's'}"
    return f"{words}, {others} other early end{'' if others == 1 else 's'}"


def _grade_of_ends(n_rides: int, downs: int, others: int) -> Grade:
    if downs > _FEW_NOSE_DOWNS * n_rides:
        return Grade.FAIL
    return Grade.MARGINAL if downs or others > _MOST_ENDED * n_rides else Grade.PASS


def judge_held_out(study: Study, profile: Floats, *, n_jobs: int) -> Verdict:
    """Return the verdict on courses and riders that the search did not see."""
    rides = held_out_rides(study)
    results = simulate(profile[None, :], rides, n_jobs=n_jobs, device=study.device)
    downs, others, named = _ended(rides, results)
    grade = _grade_of_ends(len(rides), downs, others)
    return Verdict(
        item="Courses and riders it was not tuned on",
        grade=grade,
        found=f"{len(rides)} rides: {_counted(downs, others)}" + (f"; {named}" if named else ""),
        asked=_ASKED_OF_ENDS,
        change=""
        if grade is Grade.PASS
        else "add these courses and riders to the study and search again",
        numbers={"rides": len(rides), "nose_downs": downs, "other_ends": others},
    )


def judge_tolerances(study: Study, profile: Floats, *, n_jobs: int) -> Verdict:
    """Return the verdict on the study's rides with board and riders drawn from their tolerances."""
    rides = tolerance_rides(study)
    results = simulate(profile[None, :], rides, n_jobs=n_jobs, device=study.device)
    downs, others, named = _ended(rides, results)
    grade = _grade_of_ends(len(rides), downs, others)
    blamed = _most_blamed(study, rides, results)
    return Verdict(
        item="Tolerances of board and rider",
        grade=grade,
        found=f"{len(rides)} rides over {study.validation.n_draws} draws: {_counted(downs, others)}"
        + (f"; {named}" if named else "")
        + f"; {blamed}",
        asked=_ASKED_OF_ENDS,
        change=""
        if grade is Grade.PASS
        else "choose a candidate of fewer nose-downs, or make sure of what moves them most",
        numbers={"rides": len(rides), "nose_downs": downs, "other_ends": others},
    )


def _most_blamed(study: Study, rides: Sequence[Ride], results: Rides) -> str:
    """Return which tolerance goes with the risk, by rank correlation over the draws."""
    n_draws = study.validation.n_draws
    if not study.tolerances or n_draws < 8:
        return "too few draws to say which tolerance matters"
    duration = np.array([ride.course.duration_s for ride in rides])
    risk = nose_down_risk(
        results.column("least_reserve_ratio"),
        results.column("least_nose_margin_ratio"),
        results.outcome,
        share_not_ridden(results.column("ride_time_s"), duration),
    )
    by_draw = np.sort(risk[0].reshape(n_draws, -1), axis=1)[:, -5:].mean(axis=1)
    table = study_draws(study, n_draws, DRAWN_FOR)
    moved = rank_correlations(table, by_draw)
    if np.isnan(moved).all():
        return "the worst rides' risk is the same in every draw, so no tolerance goes with it"
    most = int(np.nanargmax(np.abs(moved)))
    way = "rises" if moved[most] > 0.0 else "falls"
    name = study.tolerances[most].name
    return f"the worst rides' risk {way} most with {name} (rank correlation {moved[most]:+.2f})"


def rank_correlations(table: Floats, values: Floats) -> Floats:
    """Return Spearman's rank correlation of each column with the values, (column,).

    Parameters
    ----------
    table : (row, column) float64
    values : (row,) float64

    Returns
    -------
    (column,) float64
        NaN where the column or the values are the same in every row, and so have no order.
    """
    if np.ptp(values) == 0.0:
        return np.full(table.shape[1], np.nan)
    ranks = _ranks(values)
    return np.array(
        [
            np.corrcoef(_ranks(column), ranks)[0, 1] if np.ptp(column) > 0.0 else np.nan
            for column in table.T
        ]
    )


def _ranks(values: Floats) -> Floats:
    """Return the rank of each value, (value,), equal ones of their mean rank."""
    _, group, counts = np.unique(values, return_inverse=True, return_counts=True)
    ranks: Floats = (np.cumsum(counts) - 0.5 * (counts - 1))[group]
    return ranks


def judge_faults(
    faults: Sequence[tuple[Fault, Sequence[Ride]]],
    profile: Floats,
    *,
    n_jobs: int,
    device: Device = "cpu",
) -> list[Verdict]:
    """Return the verdict on each fault, from the rides of every rider with it."""
    all_rides = [ride for _, rides in faults for ride in rides]
    results = simulate(profile[None, :], all_rides, n_jobs=n_jobs, device=device)
    verdicts = []
    first = 0
    for fault, rides in faults:
        own = slice(first, first + len(rides))
        verdicts.append(_verdict_on_fault(fault, rides, results.over(own)))
        first += len(rides)
    return verdicts


def _verdict_on_fault(fault: Fault, rides: Sequence[Ride], results: Rides) -> Verdict:
    outcome = results.outcome[0]
    warned = results.column("warning_time_s")[0]
    ended = outcome != Outcome.RIDDEN
    in_time = (
        ended & (warned >= fault.warned_s) if fault.warned_s is not None else np.zeros_like(ended)
    )
    unwarned = ended & ~in_time
    downs = unwarned & (outcome == Outcome.NOSE_DOWN)
    grade = Grade.MARGINAL if unwarned.any() else Grade.PASS
    grade = Grade.FAIL if downs.any() else grade
    early = [
        f"{ride.rider_name} {Outcome(int(code)).message}"
        + (f" after {seconds:.1f} s of warning" if seconds > 0.0 else " without a warning")
        for ride, code, seconds in zip(rides, outcome, warned, strict=True)
        if code != Outcome.RIDDEN
    ]
    asked = "every ride to its end"
    if fault.warned_s is not None:
        asked += f", or a warning of at least {fault.warned_s:g} s before"
    return Verdict(
        item=fault.title,
        grade=grade,
        found="; ".join(early) if early else f"all {len(rides)} riders came through",
        asked=asked,
        change=""
        if grade is Grade.PASS
        else "raise reserve_warning_ratio or warning_lift_deg, or"
        " choose a candidate of fewer nose-downs",
        numbers={
            "rides": len(rides),
            "ended": int(ended.sum()),
            "ended_unwarned": int(unwarned.sum()),
            "nose_downs": int((outcome == Outcome.NOSE_DOWN).sum()),
        },
    )
