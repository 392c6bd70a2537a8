"""Kernels of several checkouts, ridden in turns: python -m tests.benchmarks.kernel_in_turns A B ...

Each folder holds a checkout of the project; `FOLDER@NAME=VALUE` sets a variable of its process. A
busy machine disturbs some rides, so each turn rides some thirty times for a few milliseconds and
takes the third best; and it slows all alike, so the ratio to the first tells more than the speeds.
"""

import argparse
import contextlib
import os
import statistics
import subprocess
import sys
from collections.abc import Iterator
from typing import IO

PROFILES, SECONDS = 16, 4.0
# What each process does: it rides a turn for every line it reads, and says how long a ride takes.
_RIDER = f"""
import sys, time
from plant.kernel.simulate import simulate
from tests.benchmarks.bench_kernel import lanes
profiles, rides = lanes({SECONDS})
profiles = profiles[:{PROFILES}]
print(len(profiles) * len(rides) if simulate(profiles, rides).metrics.size else 0, flush=True)
for line in sys.stdin:
    taken = []
    for _ in range(30):
        start = time.perf_counter()
        simulate(profiles, rides)
        taken.append(time.perf_counter() - start)
    print(sorted(taken)[2], flush=True)
"""


def _read(process: subprocess.Popen[str]) -> float:
    stream: IO[str] | None = process.stdout
    return float(stream.readline()) if stream else 0.0


@contextlib.contextmanager
def rider(place: str) -> Iterator[subprocess.Popen[str]]:
    """Start a process that rides in a checkout; it ends with the context."""
    folder, *settings = place.split("@")
    env = os.environ | {"PYTHONPATH": folder} | dict(text.split("=", 1) for text in settings)
    with subprocess.Popen(
        [sys.executable, "-W", "ignore", "-c", _RIDER],
        cwd=folder,
        env=env,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        yield process
        if process.stdin:
            process.stdin.close()


def seconds_of_turns(places: list[str], turns: int) -> tuple[float, list[list[float]]]:
    """Return the lanes of a turn, and how long each place takes at each turn, (place, turn)."""
    with contextlib.ExitStack() as stack:
        riders = [stack.enter_context(rider(place)) for place in places]
        n_lanes = [_read(process) for process in riders]
        taken: list[list[float]] = [[] for _ in riders]
        for _ in range(turns):
            for process, seconds in zip(riders, taken, strict=True):
                if process.stdin:
                    process.stdin.write("\n")
                    process.stdin.flush()
                seconds.append(_read(process))
    return n_lanes[0], taken


def main() -> None:
    """Ride in turns, and report the median speed of each and its ratio to the first."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("places", nargs="+")
    parser.add_argument("--turns", type=int, default=15)
    options = parser.parse_args()
    n_lanes, taken = seconds_of_turns(options.places, options.turns)
    for place, seconds in zip(options.places, taken, strict=True):
        rate = n_lanes * SECONDS * 1000.0 / statistics.median(seconds) / 1e6
        ratio = statistics.median(first / own for first, own in zip(taken[0], seconds, strict=True))
        sys.stdout.write(f"{rate:6.2f} M lane-steps/s  {ratio:5.3f} x  {place}\n")


if __name__ == "__main__":
    main()
