"""What a search becomes that rides a few rides first: python -m tests.benchmarks.cheap_search.

Each seed searches the example study three times: with every candidate ridden on all rides, and
twice with those spared that their telling rides give away (`cheap_rides.telling_rides`, chosen from
the first generation, which is ridden whole). A candidate is given away when the rides that it ended
break a constraint whatever the other rides bring, so none of them can reach the front. But the
search is told numbers of them too, and of the spared rides it has to be told some that nobody rode:
the baseline's, or those of the candidate of the first generation that failed most alike.

Seeds are the search's own; the rides and their noise are the same throughout.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from objectives import OBJECTIVES, RIDE_COLUMNS, ScoreRules, ride_columns, score
from objectives.constraints import ending_constraints
from optimizer import search
from optimizer.evaluation import BASELINE, Evaluation, History
from optimizer.front import feasible, hypervolume, non_dominated
from optimizer.riding import baseline_values, make_evaluate, rules_of, whole_profiles
from optimizer.store import Store
from optimizer.study import Study
from optimizer.study_file import load_study
from plant.outcomes import Outcome
from plant.simulate import simulate
from tests.benchmarks.bench_study import EXAMPLE
from tests.benchmarks.cheap_rides import telling_rides

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.intp]

WHOLE, AS_BASELINE, AS_ALIKE = "all rides", "as the baseline", "as the most alike"
_WAYS = (WHOLE, AS_BASELINE, AS_ALIKE)
_HEADS = (
    "hypervolume",
    "of all rides in the same hours",
    "hours over those of all rides",
    "spared",
)
_CORNER = 2.0  # hypervolume is counted up to twice the baseline's objectives
_OUTCOME, _TIME = (RIDE_COLUMNS.index(name) for name in ("outcome", "ride_time_s"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """A finished search.

    Attributes
    ----------
    history : History
    hours : (candidate,) float64
        Ridden until a candidate was done, that one included.
    spared : (candidate,) bool
    cpu_s : float
        The process's processor time, the kernel's compilation left out.
    """

    history: History
    hours: Floats
    spared: Flags
    cpu_s: float

    def hypervolume(self, n_candidates: int) -> float:
        """Return what the front of the first candidates covers, from 0 to 1."""
        found = self.history.rows(0, n_candidates)
        front = found.objectives[non_dominated(found.objectives, found.constraints)]
        corner = np.full(front.shape[1], _CORNER)
        return hypervolume(front / found.objectives[BASELINE], corner) / float(corner.prod())


class Riding:
    """An `Evaluate` that rides the first generation whole and spares later candidates rides."""

    def __init__(self, study: Study, stand_in: str) -> None:
        self.study = study
        self.rules = rules_of(study)
        self.duration_s = np.array([ride.course.manoeuvre.duration_s for ride in study.rides])
        self.ridden_s: list[Floats] = []
        self.spared: list[Flags] = []
        self._stand_in = stand_in
        self._whole = make_evaluate(study)
        self._first: Floats | None = None

    def __call__(self, values: Floats, /) -> Evaluation:
        """Ride a generation."""
        if self._first is None or self._stand_in == WHOLE:
            evaluation = self._whole(values)
            if self._first is None:
                self._learn(evaluation.rides)
            self._note(evaluation.rides, np.zeros(len(values), dtype=np.bool_))
            return evaluation
        return self._ride_sparingly(whole_profiles(self.study, values))

    def _learn(self, first: Floats) -> None:
        """Choose the telling rides, and keep whom they give away."""
        self._first = first
        self._telling = np.zeros(len(self.duration_s), dtype=np.bool_)
        ended = first[:, :, _OUTCOME] != Outcome.RIDDEN
        self._telling[telling_rides(ended, self.duration_s)] = True
        away = np.flatnonzero(given_away(first, self._telling, self.rules))
        self._examples = first[away if len(away) and self._stand_in == AS_ALIKE else [BASELINE]]

    def _ride_sparingly(self, profiles: Floats) -> Evaluation:
        telling, others = np.flatnonzero(self._telling), np.flatnonzero(~self._telling)
        columns = np.full((len(profiles), len(self.duration_s), len(RIDE_COLUMNS)), np.nan)
        columns[:, telling] = self._ride(profiles, telling)
        spared = given_away(columns, self._telling, self.rules)
        if not spared.all():
            columns[np.ix_(~spared, others)] = self._ride(profiles[~spared], others)
        self._note(columns, spared)
        for candidate in np.flatnonzero(spared):
            columns[candidate, others] = self._most_alike(columns[candidate])[others]
        scores = score(columns, profiles, self.rules)
        return Evaluation(
            objectives=scores.objectives, constraints=scores.constraints, rides=columns
        )

    def _ride(self, profiles: Floats, places: Places) -> Floats:
        rides = [self.study.rides[place] for place in places]
        return ride_columns(simulate(profiles, rides), rides)

    def _most_alike(self, columns: Floats) -> Floats:
        """Return the example whose telling rides ended most alike, (ride, column)."""
        found, known = columns[self._telling], self._examples[:, self._telling]
        later = np.abs(known[:, :, _TIME] - found[:, _TIME]) / self.duration_s[self._telling]
        unlike = later + (known[:, :, _OUTCOME] != found[:, _OUTCOME])
        alike: Floats = self._examples[np.argmin(unlike.sum(axis=1))]
        return alike

    def _note(self, columns: Floats, spared: Flags) -> None:
        self.ridden_s.append(np.nansum(columns[:, :, _TIME], axis=1))
        self.spared.append(spared)


def given_away(columns: Floats, telling: Flags, rules: ScoreRules) -> Flags:
    """Say who breaks a constraint on early ends by the telling rides alone, (candidate,).

    Parameters
    ----------
    columns : (candidate, ride, column) float64
        Of which only the telling rides count.
    telling : (ride,) bool
    rules : ScoreRules
        Of all rides.
    """
    outcome = np.where(telling, columns[:, :, _OUTCOME], Outcome.RIDDEN).astype(np.int8)
    share = rules.settings.nose_down_share
    nose_down, other = ending_constraints(outcome, rules.ride_weight, nose_down_share=share)
    return np.asarray((nose_down > 0.0) | (other > 0.0))


def searched(study: Study, stand_in: str, *, seed: int, n_candidates: int) -> Searched:
    """Return a search of the study with this stand-in for rides that are spared."""
    riding = Riding(study, stand_in)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "store.sqlite") as store:
        start = time.process_time()
        progress = search.run(
            riding,
            study.space,
            baseline=baseline_values(study),
            n_objectives=len(OBJECTIVES),
            n_candidates=n_candidates,
            seed=seed,
            store=store,
            population=study.population,
            weights=[study.weights[name] for name in OBJECTIVES],
        )
        cpu_s = time.process_time() - start
    return Searched(
        history=progress.history,
        hours=np.cumsum(np.concatenate(riding.ridden_s)) / 3600.0,
        spared=np.concatenate(riding.spared),
        cpu_s=cpu_s,
    )


def n_wronged(study: Study, found: Searched) -> int:
    """Return how many of the spared candidates are feasible when ridden on all rides."""
    if not found.spared.any():
        return 0
    whole = make_evaluate(study)(found.history.values[found.spared])
    return int(np.count_nonzero(feasible(whole.constraints)))


def in_numbers(found: Searched, whole: Searched, n_candidates: int) -> tuple[float, ...]:
    """Return what a search reached with its first candidates, in the order of `_HEADS`."""
    hours = found.hours[n_candidates - 1]
    n_equal = int(np.searchsorted(whole.hours, hours, side="right"))
    return (
        found.hypervolume(n_candidates),
        whole.hypervolume(n_equal),
        hours / whole.hours[n_candidates - 1],
        float(np.mean(found.spared[:n_candidates])),
    )


def report(seeds: list[int], budgets: list[int]) -> str:
    """Return medians over the seeds and their least and greatest, as text."""
    study = load_study(EXAMPLE)
    make_evaluate(study)(baseline_values(study)[None, :])  # compiles the kernel
    found = [
        {way: searched(study, way, seed=seed, n_candidates=max(budgets)) for way in _WAYS}
        for seed in seeds
    ]
    lines = [f"seeds {seeds}: median (least to greatest)\n"]
    for way in _WAYS:
        processor = np.array([runs[way].cpu_s / runs[WHOLE].cpu_s for runs in found])
        wronged = sum(n_wronged(study, runs[way]) for runs in found)
        lines.append(f"{way}: processor time{_told(processor)} of that of all rides,")
        lines.append(f" {wronged} spared that are feasible\n")
        for budget in budgets:
            rows = np.array([in_numbers(runs[way], runs[WHOLE], budget) for runs in found])
            told = [f"{head}{_told(of)}" for head, of in zip(_HEADS, rows.T, strict=True)]
            lines.append(f"  {budget} candidates: {', '.join(told)}\n")
    return "".join(lines)


def _told(values: Floats) -> str:
    return f" {np.median(values):.3f} ({values.min():.3f} to {values.max():.3f})"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--budgets", type=int, nargs="+", default=[144, 288, 480])
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    given = parser.parse_args()
    sys.stdout.write(report(given.seeds, given.budgets))
