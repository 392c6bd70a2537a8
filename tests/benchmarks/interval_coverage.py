"""Whether intervals of the nose-down rate hold it: python -m tests.benchmarks.interval_coverage.

Two profiles that fail often, weakened copies of a study's baseline, ride drawn days that nothing
else draws. Two worlds whose rate is known follow from their counts: roads drawn with replacement
from those that were ridden, and a model of roads fitted to them. In each, many days with 0 to 25
expected nose-downs say how often the interval of `objectives.event_rate` holds the rate.

A last table says what fewer rides over each road would cost and bring. The counts are kept in a
file of the folder `--out`; the same call goes on after an interruption, and more `--hours` go on
from fewer. The study needs no search. `--counts` adds the profiles in a file of `nose_down_counts`.
"""

import argparse
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import joblib
import numpy as np

from objectives.event_rate import design_effect
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.execution.devices import on_device
from optimizer.riding_day.rides import day_rides
from optimizer.study.load import load_study
from optimizer.study.study import Study
from plant.description.profile_array import profile_to_array
from plant.device import DEVICES
from plant.kernel.lane_layout import WIDTH
from plant.kernel.simulate import Ride, lay, simulate
from tests.benchmarks.clustered_counts import (
    EXPECTED,
    Coverage,
    Roads,
    fitted,
    resampled_coverage,
    simulated_coverage,
)
from tests.benchmarks.kept_falls import WEAKENED, kept_falls
from tests.benchmarks.markdown import table

_FEWEST = 12  # nose-downs of a profile, below which they say too little of its roads
LANES = (1, 2, 4, 8, 16)
_TIMED_COURSES = 64


def roads_of_counts(path: Path) -> dict[str, Roads]:
    """Return the roads of the profiles in a file of `nose_down_counts`, by number in the file.

    Raises
    ------
    UserInputError
        The file is none of those, or is of days of which only the hardest rides were ridden.
    """
    try:
        with np.load(path, allow_pickle=False) as kept:
            places, counted, kilometres = kept["places"], kept["down"], kept["kilometres"]
    except (OSError, ValueError, KeyError):
        raise UserInputError(f"{path}: holds no counts of nose_down_counts") from None
    found = {}
    for profile, fell in enumerate(counted.T):
        down = np.zeros(kilometres.shape, dtype=np.bool_)
        down[tuple(places[fell].T)] = True
        found[f"{path.stem}, profile {profile}"] = Roads(down=down, kilometres=kilometres)
    return found


def clusters_table(roads: Mapping[str, Roads]) -> str:
    """Return how the nose-downs of each profile lie on its roads."""
    rows = []
    for name, each in roads.items():
        events = each.events
        model = fitted(events, n_rides=each.down.shape[1])
        together = np.bincount(events.astype(int))[1:]
        rows.append(
            [
                name,
                f"{each.kilometres.sum():.0f}",
                f"{events.sum():.0f}",
                ", ".join(f"{n} x {times}" for n, times in enumerate(together, 1) if times),
                f"{events.sum() / (events > 0).sum():.2f} ({model.thrown_together:.2f})",
                f"{design_effect(events, each.exposure):.2f}",
                f"{model.correlation:.3f}",
            ]
        )
    head = ["profile", "km", "nose-downs", "thrown by a road x roads",
            "mean of a road that throws any (fitted)", "design effect",
            "fitted correlation"]  # fmt: skip
    return table(head, rows)


def coverage_table(roads: Mapping[str, Roads], *, n_days: int) -> str:
    """Return how often intervals hold the rate, for each profile by both worlds."""
    rows = []
    for name, each in roads.items():
        events, exposure = each.events, each.exposure
        model = fitted(events, n_rides=each.down.shape[1])
        for world, found in (
            ("its roads", [resampled_coverage(events, exposure, expected=expected, n_days=n_days,
                                              seed=1) for expected in EXPECTED]),
            ("fitted", [simulated_coverage(model, expected=expected, n_days=n_days, seed=1)
                        for expected in EXPECTED]),
        ):  # fmt: skip
            rows.append([name, world, *map(_cell, found)])
    head = ["% that hold (true rate above, below); width in events", "world",
            *(f"{expected} expected" for expected in EXPECTED)]  # fmt: skip
    return table(head, rows)


def _cell(found: Coverage) -> str:
    held, above, below = (100.0 * share for share in (found.covered, found.too_low, found.too_high))
    return f"{held:.1f} ({above:.1f}, {below:.1f}); {found.width:.1f}"


def seconds_of_a_road(study: Study, *, seed: int) -> tuple[float, float]:
    """Return what a thread takes to draw and lay one road, and to ride it once, in s."""
    profile = profile_to_array(study.baseline)[None, :]
    simulate(profile, _rides(study, 1, seed), device=study.device)  # what is compiled is ready
    began_s = time.perf_counter()
    laid = lay(_rides(study, _TIMED_COURSES, seed), keep_roads=False)
    laid_s = time.perf_counter() - began_s
    simulate(profile, laid, n_jobs=1, device=study.device)
    ridden_s = time.perf_counter() - began_s - laid_s
    return laid_s / _TIMED_COURSES, ridden_s / len(laid)


def _rides(study: Study, n_courses: int, seed: int) -> list[Ride]:
    numbers = np.arange(n_courses, dtype=np.int64)
    return [ride for course in day_rides(study, numbers, seed=seed) for ride in course]


def lanes_table(
    roads: Mapping[str, Roads],
    *,
    road_s: float,
    ride_s: float,
    together: int,
    lanes: Sequence[int] = LANES,
) -> str:
    """Return what so many rides over each road cost, for the width that the most of them have.

    The width falls with the root of the hours and grows with the root of the design effect, so the
    time for a width is that of a ride, with its share of a road, by the design effect.

    Parameters
    ----------
    roads : mapping of str to Roads
    road_s, ride_s : float
        From `seconds_of_a_road`.
    together : int
        Rides over one road that take as long as fewer of them.
    lanes : sequence of int
        Numbers of rides over a road.
    """
    rows: list[list[object]] = []
    for n_lanes in sorted(lanes, reverse=True):
        effects = [each.effect_of(n_lanes) for each in roads.values()]
        blocks_s = ride_s * together * -(-n_lanes // together)
        each_ms = 1000.0 * (road_s + blocks_s) / n_lanes
        effect = float(np.mean(effects))
        if not rows:
            whole = each_ms * effect
        spread = f"{effect:.2f} ({min(effects):.2f} to {max(effects):.2f})"
        rows.append([n_lanes, spread, f"{each_ms:.2f}", f"{each_ms * effect / whole:.2f}"])
    head = ["rides over a road", "design effect, mean (least to most)", "ms a ride with its road",
            "time for the same width"]  # fmt: skip
    return table(head, rows)


def main(given: Sequence[str] | None = None) -> str:
    """Ride, and return the report."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a study")
    parser.add_argument("--hours", type=float, default=1000.0, help="of the day, at least")
    parser.add_argument("--seed", type=int, default=1, help="of the day")
    parser.add_argument("--days", type=int, default=2000, help="drawn for each expected count")
    parser.add_argument("--counts", type=Path, nargs="*", default=[], metavar="FILE")
    parser.add_argument("--out", type=Path, default=Path("interval_coverage"))
    parser.add_argument("--threads", type=int, default=joblib.cpu_count())
    parser.add_argument("--device", choices=DEVICES, default="cpu")
    asked = parser.parse_args(given)
    study = on_device(load_study(asked.folder), asked.device)
    name = study.folder.resolve().name
    seed = spawned(study.seed, "interval coverage", str(asked.seed))
    path = asked.out / f"{name}_{asked.seed}.npz"
    falls = kept_falls(study, path, hours=asked.hours, seed=seed, n_jobs=asked.threads)
    roads = {
        f"{name}, {called}": Roads(
            down=falls.down[:, :, place], kilometres=falls.kilometres[:, :, place]
        )
        for place, called in enumerate(WEAKENED)
    }
    for file in asked.counts:
        roads |= roads_of_counts(file)
    told = {name: each for name, each in roads.items() if each.down.sum() >= _FEWEST}
    if not told:
        raise UserInputError(f"{asked.folder}: fewer than {_FEWEST} nose-downs; ride more --hours")
    road_s, ride_s = seconds_of_a_road(study, seed=seed)
    return "\n".join(
        [
            clusters_table(told),
            coverage_table(told, n_days=asked.days),
            lanes_table(
                told, road_s=road_s, ride_s=ride_s, together=1 if study.device != "cpu" else WIDTH
            ),
        ]
    )


if __name__ == "__main__":
    try:
        sys.stdout.write(main())
    except UserInputError as error:
        sys.exit(f"{error}")
