"""Counts of nose-downs beside the rates that were estimated, as tables in Markdown."""

from collections.abc import Sequence

import numpy as np

from objectives.event_rate import EventRate
from objectives.nose_down_rate import RateEstimate
from optimizer.search.evaluation import BASELINE
from plant.arrays import Flags, Floats
from tests.benchmarks.counted_day import Counts
from tests.benchmarks.fifth_of_baseline import shares, shares_table
from tests.benchmarks.markdown import table
from tests.benchmarks.nose_down_widths import rank_order


def report(
    counts: Counts,
    estimates: Sequence[RateEstimate],
    *,
    names: Sequence[str],
    riders: Sequence[str],
    objective: Floats,
    on_front: Flags,
    title: str,
) -> str:
    """Return the counts beside the estimates, as text.

    Parameters
    ----------
    counts : Counts
    estimates : sequence of RateEstimate
        Of the profiles.
    names : sequence of str
        Of the profiles, the baseline first.
    riders : sequence of str
    objective : (profile,) float64
        `nose_downs_per_1000_km`.
    on_front : (profile,) bool
        Whether a profile is one of those spread along the front.
    title : str
        Of the study.
    """
    rates = [counts.rate(profile) for profile in range(len(names))]
    inside = [
        estimate.low <= rate.rate <= estimate.high
        for estimate, rate in zip(estimates, rates, strict=True)
    ]
    others = [place for place in range(len(names)) if place != BASELINE]
    fewest = others[int(np.argmin(objective[others]))]
    parts = [
        _profiles_table(counts, estimates, rates, names=names, riders=riders, objective=objective,
                        inside=inside),
        _summary(counts, estimates, rates, objective=objective, on_front=on_front, inside=inside,
                 title=title),
        shares_table(shares(counts, fewest), f"lowest rate: {names[fewest]}"),
    ]  # fmt: skip
    return "\n".join(parts)


def _profiles_table(
    counts: Counts,
    estimates: Sequence[RateEstimate],
    rates: Sequence[EventRate],
    *,
    names: Sequence[str],
    riders: Sequence[str],
    objective: Floats,
    inside: Sequence[bool],
) -> str:
    head = ["profile", "count", "worst rider's", "counted rate (95 %)", "objective",
            "estimated rate (95 %)", "count inside"]  # fmt: skip
    rows: list[list[object]] = []
    for place, (name, rate, estimate) in enumerate(zip(names, rates, estimates, strict=True)):
        worst = counts.worst_rider(place)
        of_worst = counts.rate(place, rider=worst).n_events
        rows.append(
            [
                name,
                rate.n_events,
                f"{of_worst}, {riders[worst]}" if of_worst else 0,
                _interval(rate),
                f"{objective[place]:.2f}",
                _interval(estimate),
                "yes" if inside[place] else "no",
            ]
        )
    return table(head, rows)


def _summary(
    counts: Counts,
    estimates: Sequence[RateEstimate],
    rates: Sequence[EventRate],
    *,
    objective: Floats,
    on_front: Flags,
    inside: Sequence[bool],
    title: str,
) -> str:
    counted = np.array([rate.rate for rate in rates])
    front = objective[on_front]
    # A count scatters too: of the intervals of both, 95 % and more meet where the estimate is true.
    meet = [
        estimate.low <= rate.high and rate.low <= estimate.high
        for estimate, rate in zip(estimates, rates, strict=True)
    ]
    n_all = len(rates)
    n_lost = int(counts.down.all(axis=1).sum())
    n_ridden = f"{counts.hardness.size} ({len(counts.places)})"
    rows: list[tuple[str, str]] = [
        ("hours; km", f"{counts.hours.sum():.0f}; {counts.kilometres.sum():.0f}"),
        ("rides (of which ridden by all profiles)", n_ridden),
        (f"rank correlation of rate and count, {len(front)} profiles of the front",
         f"{rank_order(front, counted[on_front]):.2f}"),
        (f"the same, {n_all} with picks and baseline", f"{rank_order(objective, counted):.2f}"),
        ("rates along the front, per 1,000 km", f"{front.min():.2f} to {front.max():.2f}"),
        ("counts inside the interval of 95 %, front",
         f"{np.count_nonzero(np.array(inside)[on_front])} of {len(front)}"),
        ("the same, with picks and baseline", f"{sum(inside)} of {n_all}"),
        ("intervals of count and estimate that meet", f"{sum(meet)} of {n_all}"),
        ("rides; roads that no profile survives",
         f"{n_lost}; {int((~counts.survived()).sum())}"),
    ]  # fmt: skip
    return table(["nose-downs per 1,000 km", title], rows)


def _interval(rate: EventRate | RateEstimate) -> str:
    return f"{rate.rate:.2f} ({rate.low:.2f} to {rate.high:.2f})"
