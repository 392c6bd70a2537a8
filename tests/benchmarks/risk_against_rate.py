"""The nose-down rate as an objective beside the graded risk that it replaced.

    python -m tests.benchmarks.risk_against_rate [FOLDER] --candidates N --hours H

One search, one study and equal numbers of candidates, with either of the two as third objective.
Members of both fronts, spread along the own third objective of each, then ride drawn days that
neither has seen, and are judged in level error, current and plainly counted nose-downs: by how much
of the volume each front dominates, and how many members the other front dominates.

Searches and counts are kept in the folder `--out`, and the same call goes on after an interruption.
"""

import argparse
import dataclasses
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import joblib
import numpy as np

from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.execution.devices import on_device
from optimizer.execution.evaluate import make_evaluate, whole_profiles
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.execution.provenance import ride_inputs
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.evaluation import BASELINE, Evaluate, History
from optimizer.search.pareto import non_dominated
from optimizer.search.plan import Plan
from optimizer.study.load import load_study
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.device import DEVICES
from tests.benchmarks.counted_day import Counts
from tests.benchmarks.fifth_of_baseline import resampled_roads
from tests.benchmarks.front_quality import Judged, judged_table
from tests.benchmarks.graded_risk import THIRD, evaluate_by_risk, graded_risk
from tests.benchmarks.kept_day import day_key, kept_counts
from tests.benchmarks.nose_down_counts import spread_along
from tests.benchmarks.search_problems import EXAMPLE
from tests.benchmarks.time_to_go import TimeToGo

KINDS = ("graded risk", "nose-down rate")


def searched_by(study: Study, kind: str, seed: int, asked: argparse.Namespace) -> History:
    """Return the candidates of a search with one of the two as third objective."""
    plan = dataclasses.replace(study_plan(study), seed=seed)
    if kind == KINDS[0]:
        plan = dataclasses.replace(plan, composite=graded_risk(study))
    path = asked.out / f"{kind.replace(' ', '_')}_{seed}.sqlite"
    path.parent.mkdir(parents=True, exist_ok=True)

    def ride_by(screening: tuple[int, ...]) -> Evaluate:
        if kind == KINDS[0]:
            return evaluate_by_risk(study, screening, n_jobs=asked.threads)
        return make_evaluate(study, n_jobs=asked.threads, screening=screening)

    return _searched(study, plan, ride_by, path, asked)


def _searched(
    study: Study,
    plan: Plan,
    ride_by: Callable[[tuple[int, ...]], Evaluate],
    path: Path,
    asked: argparse.Namespace,
) -> History:
    with Store(path) as store:
        store.freeze(ride_inputs(study))
        to_go = TimeToGo(path.stem, asked.candidates, done=store.n_candidates)
        return search_study(
            study,
            ride_by,
            plan,
            store,
            n_candidates=asked.candidates,
            n_jobs=asked.threads,
            on_generation=lambda progress: to_go.at(progress.n_done),
        ).history


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Front:
    """Members of a front that ride other days.

    Attributes
    ----------
    n_all : int
        Members of the whole front.
    values : (member, searched parameter) float64
    held : (member, 2) float64
        Level error and current.
    """

    n_all: int
    values: Floats
    held: Floats


def members(history: History, n_members: int) -> Front:
    """Return members of a search's front, spread along its third objective."""
    front = non_dominated(history.objectives, history.constraints)
    if not front.any():
        raise UserInputError("a search found no feasible candidate; give it more --candidates")
    chosen = spread_along(history.objectives[:, THIRD], front, n_members)
    return Front(
        n_all=int(front.sum()),
        values=history.values[chosen],
        held=history.objectives[chosen][:, :THIRD],
    )


def judged(counts: Counts, fronts: Sequence[Front], first: int) -> list[Judged]:
    """Return the fronts with what was counted of them.

    Parameters
    ----------
    counts : Counts
    fronts : sequence of Front
        Whose members are profiles of the counts, one front after the other.
    first : int
        Which profile is the first member.
    """
    by_road = np.array([counts.by_road(profile)[0] for profile in range(counts.down.shape[1])])
    kilometres = counts.kilometres.sum(axis=1)
    days = np.vstack([np.ones(len(kilometres)), resampled_roads(len(kilometres))])
    rates = 1000.0 * (days @ by_road.T) / (days @ kilometres)[:, None]
    found = []
    for front in fronts:
        places = slice(first, first + len(front.values))
        found.append(
            Judged(
                n_all=front.n_all,
                held=front.held,
                n_down=by_road[places].sum(axis=1),
                rates=rates[:, places],
            )
        )
        first = places.stop
    return found


def arguments_of(given: Sequence[str] | None) -> argparse.Namespace:
    """Return the checked arguments of the command."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path, nargs="?", default=EXAMPLE, help="of the study")
    parser.add_argument("--candidates", type=int, default=3000, help="of each search")
    parser.add_argument("--hours", type=float, default=2000.0, help="of the counted day, at least")
    parser.add_argument("--hardest", type=float, default=0.01, help="share of rides for members")
    parser.add_argument("--members", type=int, default=15, help="of each front")
    parser.add_argument("--seeds", nargs="+", type=int, default=[1], help="of the searches")
    parser.add_argument("--out", type=Path, default=Path("risk_against_rate"))
    parser.add_argument("--threads", type=int, default=joblib.cpu_count())
    parser.add_argument("--device", choices=DEVICES, default="cpu")
    asked = parser.parse_args(given)
    if not 0.0 < asked.hardest <= 1.0:
        parser.error(f"--hardest: must be above 0 and at most 1, got {asked.hardest:g}")
    if asked.members < 3:
        parser.error(f"--members: at least 3 span a front, got {asked.members}")
    return asked


def main(given: Sequence[str] | None = None) -> str:
    """Search, count, and return the tables."""
    asked = arguments_of(given)
    study = with_hard_rides(on_device(load_study(asked.folder), asked.device))
    baseline = study_plan(study).baseline
    tables = []
    for seed in asked.seeds:
        fronts = [members(searched_by(study, kind, seed, asked), asked.members) for kind in KINDS]
        values = np.vstack([baseline[None, :], *(front.values for front in fronts)])
        profiles = whole_profiles(study, values)
        day_seed = spawned(study.seed, "risk against rate", "day")
        counts = kept_counts(
            study,
            profiles,
            asked.out / f"counts_{asked.candidates}_{asked.members}_{seed}.npz",
            key=day_key(study, profiles, day_seed),
            hours=asked.hours,
            hardest=asked.hardest,
            seed=day_seed,
            n_jobs=asked.threads,
        )
        found = dict(zip(KINDS, judged(counts, fronts, first=BASELINE + 1), strict=True))
        head = (
            f"seed {seed}, {asked.candidates} candidates, {counts.hours.sum():.0f} h,"
            f" baseline {round(counts.rate(BASELINE).n_events)}"
        )
        tables.append(judged_table(found, head))
    return "\n".join(tables)


if __name__ == "__main__":
    try:
        sys.stdout.write(main())
    except UserInputError as error:
        sys.exit(f"{error}")
