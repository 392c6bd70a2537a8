"""How fast the kernel rides, as ratios within one run: python tests/benchmarks/bench_kernel.py.

Rivals must give equal results before they are timed. Times are processor seconds of this process,
except for the two threads, whose point is the time on the wall; each is the median of repeats.
Goals: 12 times plain NumPy over 2,000 lanes, 40 times MuJoCo stepping only the three bodies, and
two threads 1.8 times one.
"""

import pathlib
import statistics
import sys
import time
from collections.abc import Callable

import mujoco
import numpy as np
from mujoco import rollout
from numpy.typing import NDArray

from plant.constants import GRAVITY_MPS2

# A command finds the project beside it.
sys.path.insert(0, str(pathlib.Path(__file__).parents[2]))

from plant.kernel.simulate import Ride, simulate
from tests import invented_rides
from tests.benchmarks.machine_code import arithmetic, kernel_assembly
from tests.plant import rig
from tests.reference import numpy_measures, numpy_plant
from tests.reference.mujoco_bodies import three_bodies

N_LANES = 2000
PLAIN_S = 0.1  # of riding that plain NumPy is given
REPEATS = 5
# Measured by hand on a Xeon with AVX-512 when this was written.
_LIMIT = """The limit is their
  number: without any division or square root a step takes 14 % less, with 8 lanes a register 2 %
  less. The scalar rest reads the road, where every lane stands at its own place."""
COMPARED = (
    "distance_m",
    "hold_pitch_rms_deg",
    "peak_current_a",
    "energy_wh",
    "least_reserve_ratio",
)


def say(line: str) -> None:
    """Write one line of the report."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def seconds(
    work: Callable[[], object], clock: Callable[[], float], repeats: int = REPEATS
) -> float:
    """Return the median time that `work` takes."""
    taken = []
    for _ in range(repeats):
        start = clock()
        work()
        taken.append(clock() - start)
    return statistics.median(taken)


def lanes(duration_s: float) -> tuple[NDArray[np.float64], list[Ride]]:
    """Return profiles and rides that make up 2,000 lanes over cobbles."""
    course = invented_rides.course(
        "cobbles",
        invented_rides.road(invented_rides.COBBLES),
        invented_rides.manoeuvre(duration_s, ((0.0, 4.5),), hold_s=((0.0, duration_s),)),
    )
    rides = [invented_rides.ride(course, mass_kg) for mass_kg in invented_rides.BODIES]
    spread = np.random.default_rng(1).uniform(0.95, 1.05, (N_LANES // len(rides), 1))
    return invented_rides.profile_row() * spread, rides


def kernel_rate() -> float:
    """Return lane-steps a second of the kernel on one core."""
    profiles, rides = lanes(4.0)
    ridden = simulate(profiles, rides)
    taken = seconds(lambda: simulate(profiles, rides), time.process_time)
    return float(ridden.column("ride_time_s").sum()) * 1000.0 / taken


def plain_rate() -> float:
    """Return lane-steps a second of plain NumPy, after seeing that it rides alike."""
    profiles, rides = lanes(PLAIN_S)
    every = np.repeat(profiles, len(rides), axis=0)
    riders = rides * len(profiles)
    ridden = simulate(profiles, rides)
    ended, _ = numpy_plant.ride_lanes(every, riders)
    plain = numpy_measures.metrics(ended)
    for name in COMPARED:
        np.testing.assert_allclose(plain[name], ridden.column(name).ravel(), rtol=1e-9, atol=1e-12)

    ahead = numpy_plant.ways(riders)
    start = numpy_plant.starting_lanes(every, riders, grade_rad=numpy_plant.grades(ahead))
    reflex = numpy_plant.Reflex(start)
    numpy_plant.renew(start)
    n_steps = round(PLAIN_S * 1000)

    def ride() -> None:
        for step in range(n_steps):
            numpy_plant.advance(start, reflex, step, ways=ahead, n_sub=1)

    return N_LANES * n_steps / seconds(ride, time.process_time, 3)


def mujoco_rates() -> tuple[float, float]:
    """Return lane-steps a second of MuJoCo with wheel, board and rider alone.

    Stepped with new torques each millisecond, as a controller needs it, and falling freely in
    MuJoCo's own compiled loop, the fastest way to run it.
    """
    fall = {"pitch_rad": 0.01, "lean_rad": np.linspace(0.001, 0.008, 8)}
    fallen = rig.run(rig.QUIET | fall, seconds=0.5)
    constant = {name: float(values[0]) for name, values in fallen.end.items()}
    model = three_bodies(constant, grade_rad=0.0, gravity_mps2=GRAVITY_MPS2, step_s=0.001)
    data = mujoco.MjData(model)
    start = np.zeros((8, mujoco.mj_stateSize(model, mujoco.mjtState.mjSTATE_FULLPHYSICS)))
    start[:, 2], start[:, 3] = 0.01, fall["lean_rad"]
    states, _ = rollout.rollout(model, data, start, nstep=500)
    np.testing.assert_allclose(states[:, -1, 3], fallen.end["lean_rad"], rtol=1e-9)
    np.testing.assert_allclose(states[:, -1, 2], fallen.end["pitch_rad"], rtol=1e-9)

    torques = np.zeros(3)

    def driven() -> None:
        mujoco.mj_resetData(model, data)
        for _ in range(50_000):
            data.qfrc_applied = torques
            mujoco.mj_step(model, data)

    many = np.repeat(start, 25, axis=0)
    free = seconds(lambda: rollout.rollout(model, data, many, nstep=500), time.process_time)
    return 50_000 / seconds(driven, time.process_time), many.shape[0] * 500 / free


def thread_gain() -> float:
    """Return how much sooner two threads are done than one, after seeing equal results."""
    profiles, rides = lanes(8.0)
    one, two = (simulate(profiles, rides, n_jobs=n_jobs) for n_jobs in (1, 2))
    np.testing.assert_array_equal(one.metrics, two.metrics)
    gains = []
    for _ in range(REPEATS):
        alone = seconds(lambda: simulate(profiles, rides), time.perf_counter, 1)
        shared = seconds(lambda: simulate(profiles, rides, n_jobs=2), time.perf_counter, 1)
        gains.append(alone / shared)
    return statistics.median(gains)


def say_machine_code() -> None:
    """Report how much of the kernel's arithmetic is packed, and what bounds it."""
    counts = arithmetic(kernel_assembly())
    packed = sum(count for (_, width), count in counts.items() if width > 1)
    scalar = sum(count for (_, width), count in counts.items() if width == 1)
    widest = max(width for _, width in counts)
    slow = sum(count for (name, _), count in counts.items() if name in ("div", "sqrt"))
    say(f"machine code: {packed} packed-double and {scalar} scalar-double arithmetic instructions,")
    say(f"  {widest} lanes a register, {slow} divisions and square roots. {_LIMIT}")


def main() -> None:
    """Run every comparison and report it."""
    kernel, plain = kernel_rate(), plain_rate()
    driven, free = mujoco_rates()
    say("million lane-steps a second on one core, and how much faster the kernel is")
    for name, rate, goal in (
        ("kernel, whole plant", kernel, ""),
        ("plain NumPy, whole plant", plain, "goal 12"),
        ("MuJoCo, three bodies, torques each step", driven, "goal 40"),
        ("MuJoCo, three bodies, free in its own loop", free, ""),
    ):
        say(f"  {name:<44}{rate / 1e6:7.2f}{kernel / rate:7.1f} x  {goal}")
    say(f"two threads over one: {thread_gain():.2f} x  goal 1.8")
    say_machine_code()


if __name__ == "__main__":
    main()
