"""How fast a GPU rides, and whether it gives the processor's bits.

    python tests/benchmarks/bench_cuda.py [--lanes 10000 100000 1000000] [--hours 50]

Rides of the example study and of its riding day are simulated by the processor and by every variant
of the GPU's program; a single bit of a single metric that differs counts. The variants differ in
what `plant.cuda.source.Choices` leaves free. Rates are steps that lanes rode (not those left after
an early end) over the seconds of the launch alone. The riding day is taken apart: courses drawn,
roads laid, lanes filled, copies to and from the GPU, the launch, metrics.

The table comes last. Variants whose threads wait for each other come after a first table, since a
launch that never ends would take it along.
"""

import argparse
import dataclasses
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

# A command finds the project beside it.
sys.path.insert(0, str(Path(__file__).parents[2]))

from optimizer.study.load import load_study
from optimizer.validation.hardest_rides import drawn_hours
from optimizer.validation.nose_down_rate import drawn_batch
from plant.arrays import Floats
from plant.cuda import launch
from plant.cuda.available import require_cuda
from plant.cuda.batch import RideBatch
from plant.cuda.program import Program
from plant.cuda.source import DEFAULT, Choices
from plant.description.profile_array import profile_to_array
from plant.kernel import ride_on_gpu
from plant.kernel.gpu_source import kernel_program
from plant.kernel.laid_group import LaidGroup
from plant.kernel.ride_on_gpu import END_ROWS, ride_batch
from plant.kernel.simulate import LaidRides, Rides, lay, simulate

EXAMPLE = Path(__file__).parents[2] / "studies" / "hill_town"
N_BEST = 3  # variants that ride the most lanes
COMPARED_PROFILES = 32
COMPARED_COURSES = 16
VARIANTS = {
    "default": DEFAULT,
    "numbers in the program": dataclasses.replace(DEFAULT, reals_in_memory=False),
    "12 warps": Choices(least_blocks=3),
    "two uses shared": Choices(shared_uses=2),
    "two uses shared, 12 warps": Choices(shared_uses=2, least_blocks=3),
    "two uses shared, 14 warps": Choices(shared_uses=2, block=64, least_blocks=7),
    "three uses shared": Choices(shared_uses=3),
    "three uses shared, 12 warps": Choices(shared_uses=3, least_blocks=3),
    "32 threads": Choices(block=32, least_blocks=8),
    "64 threads": Choices(block=64, least_blocks=4),
    "rides one by one": Choices(ride_tile=1),
    "rides 16 by 16": Choices(ride_tile=16),
}
IN_STEP = {
    "in step, 128 threads": Choices(in_step=True),
    "in step, 256 threads": Choices(block=256, least_blocks=1, in_step=True),
}


def say(line: str) -> None:
    """Write one line of the report."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


class Timed:
    """A kernel whose launches are timed on the GPU."""

    def __init__(self, cupy: Any, kernel: Any) -> None:
        self._cupy = cupy
        self._kernel = kernel
        self.seconds = 0.0

    def __getattr__(self, name: str) -> Any:
        return getattr(self._kernel, name)

    def __call__(self, *given: Any, **options: Any) -> None:
        """Launch, and wait for the end."""
        start, end = self._cupy.cuda.Event(), self._cupy.cuda.Event()
        start.record()
        self._kernel(*given, **options)
        end.record()
        end.synchronize()
        self.seconds += self._cupy.cuda.get_elapsed_time(start, end) / 1000.0


@dataclasses.dataclass
class Found:
    """What one variant showed."""

    name: str
    registers: int
    spilled_bytes: int
    warps: int
    n_unlike: int
    rates: dict[int, float]

    def line(self, sizes: list[int]) -> str:
        """Return one line of the table; rates in million lane-steps a second."""
        rates = "".join(f"{self.rates.get(n, float('nan')) / 1e6:>10.0f}" for n in sizes)
        return (
            f"{self.name:<28}{self.n_unlike:>8}{self.registers:>6}{self.spilled_bytes:>7}"
            f"{self.warps:>7}{rates}"
        )


def timed(cupy: Any, program: Program) -> Timed:
    """Return the program's kernel on the first GPU, timed from now on."""
    gpu = launch._gpu(0)
    with gpu._device:
        kernel = Timed(cupy, gpu.kernel(program))
    gpu._kernels[program.text] = kernel
    return kernel


def on_one_gpu(program: Program, batch: RideBatch) -> Floats:
    """Return the ends of a batch as `launch.ride` does, from the first GPU alone."""
    return launch._gpu(0).ride(program, batch)


def steps_ridden(ends: Floats) -> float:
    """Return the steps that all lanes rode until their ends."""
    return 1000.0 * float(ends[END_ROWS.index("ride_time_s")].sum())


def warps(program: Program, registers: int) -> int:
    """Return the warps that an H100 or H200 holds on a multiprocessor."""
    of_warp = -(-registers * 32 // 256) * 256
    by_registers = 4 * (16_384 // of_warp) * 32 // program.choices.block
    by_shared = 232_448 // (program.shared_bytes + 1024)
    return min(by_registers, by_shared) * program.choices.block // 32


def profiles(n_profiles: int) -> Floats:
    """Return the example's baseline, and profiles around it, some too far off to be ridden."""
    start = profile_to_array(load_study(EXAMPLE).baseline)
    random = np.random.default_rng(1)
    width = np.where(np.arange(n_profiles) % 4 == 3, 0.5, 0.05)[:, None]
    spread = 1.0 + width * random.uniform(-1.0, 1.0, (n_profiles, len(start)))
    spread[0] = 1.0
    return start * spread


def unlike(found: Rides, wanted: Rides) -> int:
    """Return how many metrics and outcomes differ in any bit."""
    bits = found.metrics.view(np.uint64) != wanted.metrics.view(np.uint64)
    return int(bits.sum()) + int((found.outcome != wanted.outcome).sum())


def on_gpu(rows: Floats, laid: LaidRides, program: Program) -> Rides:
    """Return the metrics of rides by one variant of the program."""
    ends = on_one_gpu(program, ride_batch(rows, laid.groups))
    before = ride_on_gpu.ride, ride_on_gpu.kernel_program
    ride_on_gpu.ride = lambda _program, _batch: ends  # type: ignore[assignment]
    ride_on_gpu.kernel_program = lambda _rows, _n_sub: program  # type: ignore[assignment]
    try:
        return simulate(rows, laid, device="cuda")
    finally:
        ride_on_gpu.ride, ride_on_gpu.kernel_program = before


def clocked(work: Callable[[], Any]) -> tuple[Any, float]:
    """Return what work gives, and its seconds."""
    start = time.perf_counter()
    found = work()
    return found, time.perf_counter() - start


class Bench:
    """The rides, what the processor made of some of them, and what was found so far."""

    def __init__(self, sizes: list[int]) -> None:
        self.cupy = require_cuda()
        self.sizes = sizes
        study = load_study(EXAMPLE)
        self.study = study
        self.rides = lay(study.all_rides)
        days, _ = drawn_batch(study, np.arange(COMPARED_COURSES))
        self.day = lay(days, keep_roads=False)
        self.rows = profiles(COMPARED_PROFILES)
        n_jobs = os.cpu_count() or 1
        simulate(self.rows[:1], self.day, n_jobs=n_jobs)  # compiles
        self.wanted, seconds = clocked(
            lambda: [
                simulate(self.rows, self.rides, n_jobs=n_jobs),
                simulate(self.rows[:1], self.day, n_jobs=n_jobs),
            ]
        )
        steps = 1000.0 * sum(float(rides.column("ride_time_s").sum()) for rides in self.wanted)
        outcomes = np.concatenate([rides.outcome.ravel() for rides in self.wanted])
        say(f"processor: {steps / seconds / 1e6:.0f} M lane-steps/s on {n_jobs} threads")
        say(f"compared: {len(outcomes)} rides, {(outcomes != 0).sum()} ended early")

    def variant(self, name: str, choices: Choices) -> Found:
        """Return what a variant shows, but for the most lanes."""
        program = kernel_program(END_ROWS, 1, choices)
        kernel, seconds = clocked(lambda: timed(self.cupy, program))
        n_unlike = sum(
            unlike(on_gpu(rows, laid, program), wanted)
            for rows, laid, wanted in zip(
                (self.rows, self.rows[:1]), (self.rides, self.day), self.wanted, strict=True
            )
        )
        registers = int(kernel.num_regs)
        found = Found(
            name=name,
            registers=registers,
            spilled_bytes=int(kernel.local_size_bytes),
            warps=warps(program, registers),
            n_unlike=n_unlike,
            rates={},
        )
        for n_lanes in self.sizes[:-1]:
            self.rate(found, program, n_lanes)
        say(f"{found.line(self.sizes)}  (compiled in {seconds:.1f} s)")
        return found

    def rate(self, found: Found, program: Program, n_lanes: int) -> None:
        """Measure a variant on so many lanes: every ride, and as many profiles as that takes."""
        kernel = launch._gpu(0)._kernels[program.text]
        batch = ride_batch(profiles(n_lanes // len(self.rides)), self.rides.groups)
        before = kernel.seconds
        ends = on_one_gpu(program, batch)
        found.rates[n_lanes] = steps_ridden(ends) / (kernel.seconds - before)

    def whole(self) -> Iterator[str]:
        """Yield how long whole simulations take, and where the time goes."""
        self.cupy.cuda.Device(0).synchronize()
        n_gpus = self.cupy.cuda.runtime.getDeviceCount()
        for n_profiles in (1, 48, 960):
            rows = profiles(n_profiles)
            simulate(rows, self.rides, device="cuda")
            found, seconds = clocked(lambda rows=rows: simulate(rows, self.rides, device="cuda"))
            rate = 1000.0 * found.column("ride_time_s").sum() / seconds / 1e6
            yield (
                f"simulate, {n_profiles} profiles x {len(self.rides)} rides on {n_gpus} GPU:"
                f" {seconds:.3f} s, {rate:.0f} M lane-steps/s with all copies and metrics"
            )

    def riding_day(self, hours: float) -> Iterator[str]:
        """Yield where the time goes when one profile rides a riding day."""
        program = kernel_program(END_ROWS, 1)
        kernel = launch._gpu(0)._kernels[program.text]
        rows = self.rows[:1]
        parts: dict[str, float] = {}
        n_courses = int(hours / drawn_hours(self.study, 1)) + 1
        (rides, _), parts["draw"] = clocked(lambda: drawn_batch(self.study, np.arange(n_courses)))
        laid, parts["lay"] = clocked(lambda: lay(rides, keep_roads=False))
        ridden_h = _hours(laid.groups)
        before = kernel.seconds
        _, all_s = clocked(lambda: simulate(rows, laid, device="cuda"))
        parts["launch"] = kernel.seconds - before
        batch, parts["fill"] = clocked(lambda: ride_batch(rows, laid.groups))
        _, again_s = clocked(lambda: launch.ride(program, batch))
        parts["copies, metrics"] = all_s - parts["launch"] - parts["fill"]
        spent = ", ".join(f"{name} {1000 * s / ridden_h:.2f}" for name, s in parts.items())
        yield f"riding day, {ridden_h:.0f} h of one profile; seconds for 1,000 h: {spent}"
        yield f"  ridden again, its tables on the GPU: {1000 * again_s / ridden_h:.2f} s"

    def long_day(self, hours: float) -> str:
        """Return how fast one profile rides so many hours of roads in one call."""
        program = kernel_program(END_ROWS, 1)
        kernel = launch._gpu(0)._kernels[program.text]
        times = max(round(hours / _hours(self.day.groups)), 1)
        groups = [_copied(group) for _ in range(times) for group in self.day.groups]
        batch = ride_batch(self.rows[:1], groups)
        before = kernel.seconds
        ends, all_s = clocked(lambda: on_one_gpu(program, batch))
        launch_s = kernel.seconds - before
        n_bytes = sum(table.nbytes for group in groups for table in _tables(group))
        return (
            f"riding day, {_hours(groups):.0f} h in one call: launch {launch_s:.2f} s,"
            f" {steps_ridden(ends) / launch_s / 1e6:.0f} M lane-steps/s;"
            f" with {n_bytes / 1e9:.1f} GB of roads copied {all_s:.2f} s"
        )


def _tables(group: LaidGroup) -> tuple[Floats, Floats]:
    return group.tables.road, group.tables.script


def _hours(groups: Iterable[LaidGroup]) -> float:
    return sum(group.tables.n_steps * len(group.places) for group in groups) / 3.6e6


def _copied(group: LaidGroup) -> LaidGroup:
    """Return the same rides over a road of their own in memory."""
    road, script = _tables(group)
    tables = dataclasses.replace(group.tables, road=road.copy(), script=script.copy())
    return dataclasses.replace(group, tables=tables)


def main() -> None:
    """Measure all, and write the report."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lanes", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--hours", type=float, default=50.0, help="of the riding day to lay")
    parser.add_argument("--long", type=float, default=1000.0, help="hours to ride in one call")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="variants, beside the default")
    parser.add_argument("--no-in-step", action="store_true", help="leave out the last variants")
    given = parser.parse_args()
    bench = Bench(given.lanes)
    chosen = {name: VARIANTS[name] for name in VARIANTS if _is_chosen(name, given.only)}
    found: dict[str, Found] = {}
    for name, choices in chosen.items():
        try:
            found[name] = bench.variant(name, choices)
        except (RuntimeError, ValueError) as error:  # a variant that this GPU can not launch
            say(f"{name}: {error}")
    most = given.lanes[-1]
    fastest = sorted(found.values(), key=lambda one: -one.rates.get(given.lanes[-2:][0], 0.0))
    for one in {one.name: one for one in [found["default"], *fastest[:N_BEST]]}.values():
        bench.rate(one, kernel_program(END_ROWS, 1, chosen[one.name]), most)
    lines = [*bench.whole(), *bench.riding_day(given.hours), bench.long_day(given.long)]
    report(found, lines, given.lanes)
    if given.no_in_step:
        return
    for name, choices in IN_STEP.items():
        found[name] = bench.variant(name, choices)
    report(found, lines, given.lanes)


def _is_chosen(name: str, only: list[str] | None) -> bool:
    return only is None or name == "default" or name in only


def report(found: dict[str, Found], lines: list[str], sizes: list[int]) -> None:
    """Write the table: metrics that differ, registers, bytes of spills, warps, rates."""
    rates = "".join(f"{n:>10,}" for n in sizes)
    say("")
    for line in lines:
        say(line)
    say("")
    say(f"{'variant':<28}{'unlike':>8}{'regs':>6}{'local':>7}{'warps':>7}{rates} lanes")
    for one in found.values():
        say(one.line(sizes))


if __name__ == "__main__":
    main()
