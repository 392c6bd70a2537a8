"""What a study has found so far: every finished candidate with its place among the others."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES, OBJECTIVES, RIDE_COLUMNS
from objectives.descriptors import describe
from objectives.score import handling_of
from optimizer.analysis.baseline_cost import (
    Feels,
    compared_baseline,
    lost_on_fresh_noise,
    study_cost,
)
from optimizer.analysis.picks import named_picks
from optimizer.base.errors import CandidateError, NotStartedError, StoreError
from optimizer.base.messages import shown
from optimizer.base.pick_names import NEAREST, PICKS
from optimizer.execution.early_rejection import not_ridden
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.provenance import refuse_other_study
from optimizer.execution.reevaluation import (
    front_to_reevaluate,
    on_fresh_noise,
    reevaluated_constraints,
)
from optimizer.execution.store import read_table
from optimizer.execution.store_format import Table
from optimizer.search import pareto
from optimizer.search.evaluation import BASELINE, History
from optimizer.search.pareto import non_dominated
from optimizer.search.ranking import violation
from optimizer.study.paths import store_path
from optimizer.study.study import Study
from plant.arrays import Flags, Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Results:
    """Finished candidates in number order; candidate 0 is the baseline.

    Attributes
    ----------
    study : Study
    frozen : mapping of str to str
        Inputs and versions that the study was started with.
    generations : (candidate,) int64
    history : History
        Searched values, objectives and constraints; of re-evaluated candidates, those on
        fresh noise. Objectives of candidates that were rejected early are NaN, and so is the rate
        of those in `without_rate`.
    searched : History
        The same as the search saw it, every candidate on the same noise.
    reevaluated : (candidate,) bool
        Whether a candidate was re-evaluated; none while the re-evaluation is not finished.
    rides : (candidate, ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`; all NaN where a ride was not simulated.
    handling, hard : (candidate, ride, column) float64
        The same of the rides in which handling is measured, and of the hard rides: others for
        re-evaluated candidates; see `optimizer.analysis.candidate.study_as_scored`.
    descriptors : (candidate, descriptor) float64
        In the order of `objectives.DESCRIPTOR_NAMES`.
    baselines : (2, objective) float64
        Objectives of the baseline with which candidates are compared: as searched, and in the
        re-evaluation; see `optimizer.analysis.baseline_cost.compared_baseline`.
    baseline_lost : tuple of str
        Rides that the baseline loses on fresh noise alone; its objectives of comparison take them
        as ridden in the search.
    weighted_cost : (candidate,) float64
        Against the baseline on the same noise, which costs 1, or more if it lost a ride on fresh
        noise; NaN where the objectives are.
    violation : (candidate,) float64
        Sum of the violated constraints; 0 for a feasible candidate.
    feasible, on_front : (candidate,) bool
    picks : mapping of str to int
        Candidate numbers by the names of `PICKS`; empty when no candidate is feasible.
    """

    study: Study
    frozen: Mapping[str, str]
    generations: NDArray[np.int64]
    history: History
    searched: History
    reevaluated: Flags
    rides: Floats
    handling: Floats
    hard: Floats
    descriptors: Floats
    baselines: Floats
    baseline_lost: tuple[str, ...]
    weighted_cost: Floats
    violation: Floats
    feasible: Flags
    on_front: Flags
    picks: Mapping[str, int]

    def __len__(self) -> int:
        return len(self.history)

    def __repr__(self) -> str:
        return (
            f"<Results of {self.study.title!r}: {len(self)} candidates,"
            f" {self.feasible.sum()} feasible, {self.on_front.sum()} on the front>"
        )

    @property
    def feels(self) -> Feels:
        """Pitch per acceleration of every candidate, the same in the search and on fresh noise."""
        feel = self.descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
        return Feels(of=feel, baseline=float(feel[BASELINE]))

    @property
    def baseline_feel(self) -> float:
        """The baseline's pitch per acceleration, in deg per m/s2."""
        return self.feels.baseline

    @property
    def rides_ridden(self) -> NDArray[np.int64]:
        """Number of rides that each candidate rode, (candidate,)."""
        counted: NDArray[np.int64] = np.count_nonzero(~not_ridden(self.rides), axis=1)
        return counted

    @property
    def rejected_early(self) -> Flags:
        """Which candidates were rejected early, (candidate,)."""
        return self.rides_ridden < len(self.study.rides)

    @property
    def without_rate(self) -> Flags:
        """Which candidates rode the study's own rides but no hard ride, (candidate,).

        They break a constraint that needs no hard ride, so their nose-down rate is not
        estimated.
        """
        return np.asarray(~self.rejected_early & not_ridden(self.hard).all(axis=1))

    def ride_column(self, name: str, number: int) -> Floats:
        """Return one column of a candidate's rides, (ride,)."""
        return self.rides[number, :, RIDE_COLUMNS.index(name)]

    def pick_names(self, number: int) -> tuple[str, ...]:
        """Return the names that a candidate carries."""
        return tuple(name for name, picked in self.picks.items() if picked == number)


def read_results(study: Study) -> Results:
    """Return what the study's store holds, without changing or locking it.

    Raises
    ------
    NotStartedError
        No store, or no candidate in it yet.
    StoreError
        A damaged or foreign store, or a study file that changed.
    """
    path = store_path(study.folder)
    table = read_table(path)
    if not len(table.history):
        raise NotStartedError(f"{path}: no generation is finished yet; run the study first")
    refuse_other_study(path, table.frozen, study)
    return gathered(study, table, may_change=True)


def gathered(study: Study, table: Table, *, may_change: bool = False) -> Results:
    """Return a study's results from its stored candidates, one or more.

    Parameters
    ----------
    study : Study
    table : Table
    may_change : bool
        Whether nobody needs the table afterwards: its rides, which are most of it, are not copied.

    Raises
    ------
    UserInputError
        The columns are not those of this version, or the baseline gives nothing to compare with.
    """
    searched = table.history
    study = with_hard_rides(study)
    _check_columns(study, table)
    on_front = non_dominated(searched.objectives, searched.constraints)
    to_ride = front_to_reevaluate(searched, table.reevaluation)
    reevaluated = np.zeros_like(to_ride.wanted) if len(to_ride.missing) else to_ride.wanted
    searched_baseline = table.rides[BASELINE].copy()
    history, all_rides = _with_reevaluation(table, reevaluated, may_change=may_change)
    rules = rules_of(study)
    rides, handling, hard = rules.parts(all_rides)
    if reevaluated.any():
        # A candidate of the searched front stays there only if fresh noise leaves it there.
        on_front = to_ride.on_front.copy()
        again = np.flatnonzero(on_front)
        on_front[again] = non_dominated(history.objectives[again], history.constraints[again])
    lost = lost_on_fresh_noise(all_rides[BASELINE], searched_baseline, n_rides=len(study.rides))
    baselines = np.stack([searched.objectives[BASELINE], history.objectives[BASELINE]])
    if len(lost):
        rules_there = rules_of(on_fresh_noise(study))
        baselines[1] = compared_baseline(study, all_rides[BASELINE], searched_baseline, rules_there)
    descriptors = describe(
        rides,
        handling_of(rides, handling, whole_profiles(study, history.values), rules),
        rules,
    )
    # Rides that measure handling are quiet: a feel is the same on fresh noise.
    feel = descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    feels = Feels(of=feel, baseline=float(feel[BASELINE]))
    cost = study_cost(study, searched.objectives, baseline=baselines[0], feels=feels)
    if reevaluated.any():
        cost[reevaluated] = study_cost(
            study,
            history.objectives[reevaluated],
            baseline=baselines[1],
            feels=feels.taken(reevaluated),
        )
    numbers = np.flatnonzero(on_front)
    picks = named_picks(history.objectives[numbers], cost[numbers]) if len(numbers) else {}
    return Results(
        study=study,
        frozen=table.frozen,
        generations=table.generations,
        history=history,
        searched=searched,
        reevaluated=reevaluated,
        rides=rides,
        handling=handling,
        hard=hard,
        descriptors=descriptors,
        baselines=baselines,
        baseline_lost=tuple(study.rides[place].name for place in lost),
        weighted_cost=cost,
        violation=violation(history.constraints),
        feasible=pareto.feasible(history.constraints),
        on_front=on_front,
        picks={name: int(numbers[picks[name]]) for name in PICKS if name in picks},
    )


def _with_reevaluation(
    table: Table, reevaluated: Flags, *, may_change: bool
) -> tuple[History, Floats]:
    """Return history and rides with the rows of re-evaluated candidates replaced."""
    if not reevaluated.any():
        return table.history, table.rides
    again = table.reevaluation
    rows = np.flatnonzero(np.isin(again.numbers, np.flatnonzero(reevaluated)))
    numbers = again.numbers[rows]
    objectives, constraints = table.history.objectives.copy(), table.history.constraints.copy()
    rides = table.rides if may_change else table.rides.copy()
    objectives[numbers] = again.evaluation.objectives[rows]
    constraints[numbers] = reevaluated_constraints(table.history, again)[rows]
    rides[numbers] = again.evaluation.rides[rows]
    history = History(values=table.history.values, objectives=objectives, constraints=constraints)
    return history, rides


def least_violating(results: Results, *, limit: int) -> NDArray[np.intp]:
    """Return the numbers of the candidates nearest to feasible, the nearest first.

    Candidates that were rejected early are left out: their whole violation is not known.
    """
    nearest = np.argsort(results.violation, kind="stable")
    return nearest[~results.rejected_early[nearest]][:limit]


def nearest_misses(results: Results) -> dict[str, int]:
    """Return the candidates nearest to feasible by the names they have where no pick is."""
    if results.picks:
        return {}
    nearest = least_violating(results, limit=len(NEAREST)).tolist()
    return dict(zip(NEAREST, nearest, strict=False))  # a short search may have fewer


def candidate_number(results: Results, text: str) -> int:
    """Return the candidate that a number, the name of a pick or of a nearest miss means.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    """
    folder = results.study.folder
    named = {**results.picks, **nearest_misses(results)}
    if text in named:
        return named[text]
    if text in NEAREST and results.picks:
        raise CandidateError(
            f"{folder}: there is no {text}, for some candidates meet every constraint; take one of"
            f" the picks {', '.join(results.picks)}"
        )
    if text in PICKS:
        raise CandidateError(
            f"{folder}: there is no {text} pick, because none of the {len(results)} candidates"
            " meets every constraint; take nearest_1, the nearest to that, or a candidate's number"
        )
    if not text.isascii() or not text.isdigit():
        raise CandidateError(
            f"{folder}: {shown(text)} is neither a candidate's number nor one of the picks"
            f" {', '.join(PICKS)}"
        )
    digits = text.lstrip("0")  # of any number: Python reads some thousand of them, and no more
    if len(digits) > len(str(len(results))) or int(digits or "0") >= len(results):
        raise CandidateError(
            f"{folder}: there is no candidate {text}; the numbers go from 0 to {len(results) - 1}"
        )
    return int(digits or "0")


def _check_columns(study: Study, table: Table) -> None:
    expected = (len(OBJECTIVES), len(CONSTRAINT_NAMES), (study.n_rides, len(RIDE_COLUMNS)))
    found = (
        table.history.objectives.shape[1],
        table.history.constraints.shape[1],
        table.rides.shape[1:],
    )
    if found != expected:
        raise StoreError(
            f"{store_path(study.folder)}: written by another version of levelgain, whose"
            " tables differ from this version's; use that version, or start a new study folder"
        )
