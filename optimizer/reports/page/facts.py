"""What the page's script gets of a study: its words, its candidates, its rides."""

import shlex
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES, OBJECTIVES, RIDE_COSTS
from objectives.feel import MARKS, feel_miss
from objectives.handling import HANDLING_NAMES
from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.candidate_numbers import baseline_objectives, comparison_in_words
from optimizer.analysis.front_so_far import found_latest, fronts_by_generation
from optimizer.analysis.nose_down_rates import objective_in_words, rated_riders
from optimizer.analysis.pinned_ends import pinned_ends
from optimizer.analysis.results import Results, least_violating
from optimizer.execution.provenance import model_digest
from optimizer.reports.page.encoding import Packed, packed
from optimizer.reports.page.labels import CONSTRAINT_LABELS, LABELS, PICK_MARKS
from optimizer.reports.signs import LEAST_DRAWN
from optimizer.search.evaluation import BASELINE
from optimizer.search.space import to_unit
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.description.quantity import declared_numbers
from plant.kernel.outcomes import Outcome

Numbers: TypeAlias = NDArray[np.intp]

_MOST_OTHERS = 1500  # candidates off the front that are drawn: each is a shape in every plot
_DETAIL_BYTES = 5_000_000  # space for all that is shown in detail but the traces
_CURVE_AND_MARGIN_BYTES = 1600
_NEAREST = 20  # shown in detail where no candidate meets every constraint
_SHOWN_DESCRIPTORS = tuple(name for name in DESCRIPTOR_NAMES if name in LABELS)


def shown_numbers(results: Results, extra: tuple[int, ...] = ()) -> Numbers:
    """Return the candidates on the page, rising: the front and the best of the others.

    The others are those nearest to feasible, of equals those of least weighted cost. A candidate
    that was rejected early is not among them: it has no objectives to be drawn at.
    """
    wanted = np.zeros(len(results), dtype=bool)
    wanted[[BASELINE, *extra, *results.picks.values()]] = True
    wanted |= results.on_front
    order = np.lexsort((results.weighted_cost, results.violation))
    others = order[~(wanted | results.rejected_early)[order]]
    wanted[others[:_MOST_OTHERS]] = True
    return np.flatnonzero(wanted)


def detailed_numbers(results: Results, extra: tuple[int, ...] = ()) -> list[int]:
    """Return the candidates shown in detail, the most wanted first.

    The baseline, those asked for, the picks, then the front by weighted cost; without a front
    those nearest to feasible.
    """
    front = np.flatnonzero(results.on_front)
    by_cost = front[np.argsort(results.weighted_cost[front], kind="stable")]
    rest = by_cost if len(front) else least_violating(results, limit=_NEAREST)
    wanted = dict.fromkeys([BASELINE, *extra, *results.picks.values(), *map(int, rest)])
    return list(wanted)[: max(_most_detailed(results), 1 + len(extra) + len(results.picks))]


def _most_detailed(results: Results) -> int:
    """Return how many candidates' rides there is room for, as base64: four letters for 3 bytes."""
    bytes_each = results.rides.shape[1] * (4 * len(RIDE_COSTS) + 1) + _CURVE_AND_MARGIN_BYTES
    return int(_DETAIL_BYTES * 3 // (4 * bytes_each))


def study_facts(study: Study) -> dict[str, Any]:
    """Return the study's words and numbers that no candidate changes."""
    riders, courses = list(study.riders), list(study.courses)
    return {
        "title": study.title,
        "board_name": study.board_name,
        "structure": study.structure,
        "seed": study.seed,
        "study_digest": study.digest,
        "model_digest": model_digest(),
        "commands": {
            name: f"levelgain {name} {shlex.quote(str(study.folder))} "
            for name in ("export", "page", "validate")
        },
        "labels": LABELS,
        "objectives": list(OBJECTIVES),
        "ride_costs": list(RIDE_COSTS),
        "handling": list(HANDLING_NAMES),
        "rated_riders": rated_riders(study),
        "nose_down_rate_note": objective_in_words(study),
        # The feel that is weighed besides, if any, and what words for it mean.
        "feel": None
        if study.wanted_feel is None
        else {"wanted": study.wanted_feel, "weight": study.feel_weight},
        "feel_marks": MARKS,
        "weights": [study.weights[name] for name in OBJECTIVES],
        "constraints": [[name, CONSTRAINT_LABELS[name]] for name in CONSTRAINT_NAMES],
        "pick_marks": PICK_MARKS,
        "least_drawn": LEAST_DRAWN,
        "parameters": _parameters(study),
        "riders": riders,
        "courses": courses,
        "rides": [
            [courses.index(ride.course.name), riders.index(ride.rider_name)] for ride in study.rides
        ],
        "outcomes": [outcome.message for outcome in Outcome],
        "nose_contact_deg": study.board.frame.nose_contact_deg,
        "phase_current_limit_a": study.board.drive.phase_current_limit_a,
        "settings": {
            name: getattr(study.settings, name)
            for name in ("sensitivity_limit", "phase_margin_deg", "gain_margin_ratio")
        },
    }


def candidate_facts(results: Results, numbers: Numbers) -> dict[str, Any]:
    """Return the columns of every candidate on the page, row by row in the order of `numbers`."""
    history, space = results.history, results.study.space
    columns = {
        name: packed(results.descriptors[numbers, DESCRIPTOR_NAMES.index(name)], "f4")
        for name in _SHOWN_DESCRIPTORS
    }
    rows: dict[str, Packed] = {
        "number": packed(numbers, "u4"),
        "on_front": packed(results.on_front[numbers], "u1"),
        "feasible": packed(results.feasible[numbers], "u1"),
        "reevaluated": packed(results.reevaluated[numbers], "u1"),
        # In full, so that the page's weighted cost is that of the tables.
        "objectives": packed(history.objectives[numbers], "f8"),
        "constraints": packed(history.constraints[numbers], "f4"),
        "values": packed(history.values[numbers], "f4"),
        "unit": packed(np.rint(65535.0 * to_unit(space, history.values[numbers])), "u2"),
    }
    if results.study.wanted_feel is not None:
        # Over the baseline's miss, as it is weighed.
        miss = _feel_miss_ratio(results, results.study.wanted_feel)
        rows["feel_miss"] = packed(miss[numbers], "f8")
    gain = found_latest(results)
    return {
        "n_ridden": len(results),
        "n_front": int(results.on_front.sum()),
        "n_feasible": int(results.feasible.sum()),
        "n_rejected_early": int(results.rejected_early.sum()),
        "history": _history(results),
        "latest_gain_note": "" if gain is None else f"In the search {gain}.",
        "picks": dict(results.picks),
        "at_bounds": {str(number): bound_marks(results, number) for number in _named(results)},
        # Ends of searched ranges at which much of the whole front lies.
        "front_ends": [
            {"parameter": each.name, "share": each.share, "text": f"{each.sentence}."}
            for each in pinned_ends(results)
        ],
        # Each as searched, and in the re-evaluation: what the baseline measures, and what
        # candidates are compared with, which costs 1.
        "baseline_objectives": baseline_objectives(results).tolist(),
        "compared_objectives": results.baselines.tolist(),
        "comparison_note": comparison_in_words(results),
        "rows": rows,
        "columns": columns,
    }


def _history(results: Results) -> dict[str, Packed]:
    """Return candidates ridden, best cost, volume and size of the front after each generation."""
    fronts = fronts_by_generation(results)
    rows = [
        (n_ridden, front.best_cost_ratio, front.volume_ratio, front.n_front)
        for n_ridden, front in fronts
    ]
    names = ("n_ridden", "best_cost_ratio", "volume_ratio", "n_front")
    return {
        name: packed(column, "f4")
        for name, column in zip(names, zip(*rows, strict=True), strict=True)
    }


def _named(results: Results) -> list[int]:
    return sorted(set(results.picks.values()))


def _feel_miss_ratio(results: Results, wanted: float) -> Floats:
    """Return how far each candidate's feel is from the wanted one, over the baseline's miss."""
    feel = results.descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    miss = feel_miss(feel, wanted)
    ratio: Floats = miss / miss[BASELINE]
    return ratio


def _parameters(study: Study) -> list[dict[str, Any]]:
    """Return every number of a profile: the searched ones first, with their bounds."""
    space, baseline = study.space, profile_to_array(study.baseline)
    payload = {
        name: {"name": name, "text": declared.text, "section": section}
        for name, (section, declared) in declared_numbers(Profile).items()
    }
    bounds = zip(space.names, space.low.tolist(), space.high.tolist(), strict=True)
    searched = [{**payload[name], "low": low, "high": high} for name, low, high in bounds]
    kept = [
        {**payload[name], "kept": value}
        for name, value in zip(PROFILE_NAMES, baseline.tolist(), strict=True)
        if name not in space.names
    ]
    return [*searched, *kept]
