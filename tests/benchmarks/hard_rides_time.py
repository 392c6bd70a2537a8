"""What it takes to find hard rides: python -m tests.benchmarks.hard_rides_time FOLDER.

Processor time of laying and riding, and how full the kernel's blocks are: a block of lanes takes as
long with one of them. Only lanes over the same piece of a road share blocks.
"""

import argparse
import dataclasses
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

from optimizer.base.hashing import digest
from optimizer.riding_day import laid_ahead, weak_profiles
from optimizer.riding_day.hard_rides import find_hard_rides
from optimizer.study.load import load_study
from plant.arrays import Floats
from plant.kernel.lane_layout import WIDTH
from plant.kernel.simulate import LaidRides, Rides


@dataclasses.dataclass(slots=True, kw_only=True)
class Part:
    """Seconds of processor time, and hours of lanes and of whole blocks."""

    seconds: float = 0.0
    lanes_h: float = 0.0
    blocks_h: float = 0.0


def parts_of(folder: Path, hours: float | None) -> tuple[dict[str, Part], str]:
    """Return what each part takes on one thread, and a digest of the hard rides."""
    study = load_study(folder)
    if hours is not None:
        study = dataclasses.replace(study, hard_rides_h=hours)
    parts: dict[str, Part] = defaultdict(Part)

    def timed(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def called(*arguments: Any, **options: Any) -> Any:
            begin = time.process_time()
            found = function(*arguments, **options)
            parts[name].seconds += time.process_time() - begin
            return found

        return called

    ride = weak_profiles.simulate

    def ridden(profiles: Floats, laid: LaidRides, **options: Any) -> Rides:
        name = "first weak profile" if len(profiles) == 1 else "second, and baseline"
        results: Rides = timed(name, ride)(profiles, laid, **options)
        for group in laid.groups:
            ride_h = group.tables.n_steps / 3.6e6
            n_lanes = len(profiles) * len(group.places)
            parts[name].lanes_h += n_lanes * ride_h
            parts[name].blocks_h += -(-n_lanes // WIDTH) * WIDTH * ride_h
        return results

    with (
        mock.patch.object(weak_profiles, "simulate", ridden),
        mock.patch.object(laid_ahead, "lay", timed("laying", laid_ahead.lay)),
    ):
        hard = timed("in all", find_hard_rides)(study)
    return dict(parts), digest([hard.text])


def main() -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--hours", type=float, help="of the riding day; default: the study's")
    given = parser.parse_args()
    parts, found = parts_of(given.folder, given.hours)
    for name, part in parts.items():
        sys.stdout.write(f"{name:22s}{part.seconds:8.1f} s")
        if part.lanes_h:
            share = part.lanes_h / part.blocks_h
            sys.stdout.write(f"{part.lanes_h:8.1f} h of lanes, in {share:.0%} of their blocks")
        sys.stdout.write("\n")
    sys.stdout.write(f"hard rides {found[:12]}\n")


if __name__ == "__main__":
    main()
