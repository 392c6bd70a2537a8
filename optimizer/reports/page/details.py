"""What the page shows of one candidate: its rides, its curve, its margins and its worst traces."""

import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeAlias

import numpy as np

from objectives import RIDE_COSTS
from optimizer.analysis.candidate import worst_places
from optimizer.analysis.columns import Columns, without
from optimizer.analysis.constraint_facts import facts_of_candidates
from optimizer.analysis.handling_tables import handling_tables
from optimizer.analysis.known_verdict import known_verdict, verdict_facts
from optimizer.analysis.loop_words import GAIN_POINT_WORDS
from optimizer.analysis.nose_down_rates import rates_of_candidates
from optimizer.analysis.results import Results
from optimizer.analysis.ridden_again import ridden_again
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.reports.page.encoding import packed
from optimizer.reports.page.films import TRACE_STEPS, Filmed, filmed
from optimizer.search.evaluation import BASELINE
from plant.arrays import Floats
from plant.linear.balance_loop import GAIN_POINTS, loop_gains, loop_margins, of_each_rider
from plant.stiffness import stiffness_curve

_TRACED_AT_ONCE = 64  # candidates: many of them ride the same rides
Traces: TypeAlias = dict[str, dict[str, Filmed]]

_CURVE_DEG = np.linspace(-18.0, 18.0, 145)


def rides_and_loops(results: Results, numbers: Sequence[int]) -> dict[str, Any]:
    """Return rides, rates, handling, curves and margins of numbered candidates, row by row."""
    profiles = whole_profiles(results.study, results.history.values[list(numbers)])
    rules = rules_of(results.study)
    margins = of_each_rider(loop_margins(rules.loop, loop_gains(profiles)), len(rules.riders))
    shown = (margins.max_sensitivity, margins.phase_deg, margins.gain_up_ratio)
    more = (margins.gain_down_ratio, 1000.0 * margins.delay_s)
    rides = [[results.ride_column(name, number) for name in RIDE_COSTS] for number in numbers]
    rates = rates_of_candidates(results, numbers)
    names = {rider: name for name, rider in results.study.riders.items()}
    return {
        "numbers": list(numbers),
        "rides": packed(np.swapaxes(np.array(rides), 1, 2), "f4"),
        "outcome": packed([results.ride_column("outcome", number) for number in numbers], "u1"),
        "handling": packed(
            [
                _matrix(without(table, "handling", "all", "as_asked"))
                for table in handling_tables(results, numbers)
            ],
            "f4",
        ),
        "nose_down_rates": packed([_matrix(without(table, "rider")) for table in rates], "f4"),
        "curve_deg": packed(_CURVE_DEG, "f4"),
        "curves": packed([stiffness_curve(row, _CURVE_DEG) for row in profiles], "f4"),
        "margins": packed(np.stack([*shown, *more], axis=-1), "f4"),
        "margin_riders": [names[rider] for rider in rules.riders],
        "gain_points": [GAIN_POINT_WORDS[name] for name in GAIN_POINTS],
        "verdicts": [verdict_facts(known_verdict(results, number)) for number in numbers],
        # Of each candidate, what each constraint found, and what it asks.
        "constraints": [
            [[fact.found, fact.asked] for fact in facts]
            for facts in facts_of_candidates(results, numbers)
        ],
        "worst": {str(number): worst_places(results, number) for number in numbers},
    }


def _matrix(table: Columns) -> Floats:
    """Return a table of numbers, (row, column)."""
    return np.column_stack([*table.values()])


def candidate_traces(results: Results, number: int, places: Iterable[int]) -> dict[str, Filmed]:
    """Return a candidate on some rides, simulated again, by the ride's place."""
    found = _ridden_again(results, [(number, place) for place in places])
    return {str(place): film for (_, place), film in found.items()}


def _ridden_again(
    results: Results, wanted: Sequence[tuple[int, int]]
) -> dict[tuple[int, int], Filmed]:
    return ridden_again(results, wanted, made_of=filmed, every_steps=TRACE_STEPS)


def traces_that_fit(
    results: Results,
    numbers: Sequence[int],
    *,
    n_bytes: int,
    advance: Callable[[int, int], None] = lambda _done, _wanted: None,
) -> Traces:
    """Return the worst rides' traces of as many candidates as fit, from the first on.

    Parameters
    ----------
    results : Results
    numbers : sequence of int
        The most wanted first.
    n_bytes : int
        Room for the traces as text.
    advance : callable, optional
        Told how many candidates are traced, and of how many, after each.

    Returns
    -------
    dict
        Traces by candidate and by ride; the baseline has every ride that another one has.
    """
    kept: Traces = {str(BASELINE): {}}
    left = float(n_bytes)
    for first in range(0, len(numbers), _TRACED_AT_ONCE):
        some = numbers[first : first + _TRACED_AT_ONCE]
        places = {number: worst_places(results, number) for number in some}
        pairs = [(number, place) for number in some for place in places[number]]
        beside = [(BASELINE, place) for _, place in pairs if str(place) not in kept[str(BASELINE)]]
        found = _ridden_again(results, list(dict.fromkeys([*pairs, *beside])))
        for number in some:
            payload = {str(place): found[number, place] for place in places[number]}
            missing = {
                str(place): found[BASELINE, place]
                for place in places[number]
                if str(place) not in kept[str(BASELINE)]
            }
            left -= _size(payload) * (number != BASELINE) + _size(missing)
            if left < 0.0:
                return kept
            kept[str(BASELINE)] |= missing
            if number != BASELINE:
                kept[str(number)] = payload
        advance(min(first + _TRACED_AT_ONCE, len(numbers)), len(numbers))
    return kept


def _size(payload: dict[str, Filmed]) -> int:
    return len(json.dumps(payload)) if payload else 0
