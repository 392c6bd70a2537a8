"""Digests of some hundred rides, which must hold on any machine.

`python -m tests.plant.ride_digests` writes the table beside this file anew, after a change of
results on purpose; `--print` only says it.
"""

import argparse
import hashlib
import pathlib
import sys
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

# A command finds the project beside it.
sys.path.insert(0, str(pathlib.Path(__file__).parents[2]))

from optimizer.riding_day.rides import day_rides
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from optimizer.study.study import Study
from optimizer.validation.rides import held_out_rides
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.simulate import Ride, Rides, lay, simulate
from plant.kernel.trace import trace

TABLE = pathlib.Path(__file__).with_name("ride_digests.txt")
# Two loops, two boards, and every course of the catalogue.
STUDIES = ("cascade_loop", "hill_town", "motor_17", "template")
# How far each profile is from the baseline towards a drawn one, and its stiffness over that: a weak
# one ends rides early.
_DISTANCES = np.array((0.0, 0.1, 0.2, 0.3, 0.4, 0.6, 1.0, 1.0))
_STIFFNESS = np.array((1.0, 1.0, 1.0, 1.0, 1.0, 0.5, 1.0, 0.25))
_DRAWN = 4
_GAINS = ("inner_gain_a_per_deg", "base_gain_a_per_deg")


def profiles_of(study: Study) -> NDArray[np.float64]:
    """Return the baseline and profiles ever further from it, (profile, parameter).

    Those are drawn from the searched ranges, and other settings within 30 % of the baseline's.
    """
    space, baseline = study.space, profile_to_array(study.baseline)
    share = np.random.default_rng(0).uniform(size=(len(_DISTANCES), len(PROFILE_NAMES)))
    drawn = baseline * (0.7 + 0.6 * share)
    places = [PROFILE_NAMES.index(name) for name in space.names]
    drawn[:, places] = space.low + share[:, places] * (space.high - space.low)
    profiles = baseline + _DISTANCES[:, None] * (drawn - baseline)
    profiles[:, [PROFILE_NAMES.index(name) for name in _GAINS]] *= _STIFFNESS[:, None]
    return profiles


def rides_of(study: Study) -> Iterator[tuple[str, list[Ride]]]:
    """Yield what is ridden on each course, by a name of it: own, of handling, held out."""
    groups: dict[str, list[Ride]] = {}
    for ride in study.all_rides:
        groups.setdefault(ride.course.name, []).append(ride)
    for ride in held_out_rides(study) if study.folder.name == "hill_town" else []:
        groups.setdefault(f"held_out:{ride.course.name}", []).append(ride)
    yield from groups.items()


def digest(*arrays: NDArray[np.float64]) -> str:
    """Return a digest of every bit of arrays."""
    found = hashlib.sha256()
    for array in arrays:
        found.update(np.ascontiguousarray(array).tobytes())
    return found.hexdigest()[:16]


def ridden(name: str) -> Iterator[tuple[str, Sequence[Ride], NDArray[np.float64], Rides]]:
    """Yield each course of a study with its rides, the profiles that ride it, and the results."""
    study = load_study(STUDIES_FOLDER / name)
    profiles = profiles_of(study)
    for course, rides in rides_of(study):
        yield f"{name} {course}", rides, profiles, simulate(profiles, rides)


def laid_day(name: str, n_courses: int) -> Iterator[NDArray[np.float64]]:
    """Yield the tables of some courses of a study's riding day."""
    for rides in day_rides(load_study(STUDIES_FOLDER / name), np.arange(n_courses), seed=7):
        for group in lay(rides, keep_roads=False).groups:
            yield from (group.tables.road, group.tables.script)


def table() -> str:
    """Return a line for each course of each study: digests of its rides and of one trace.

    The last is of the tables of drawn courses.
    """
    lines = []
    for name in STUDIES:
        for course, rides, profiles, results in ridden(name):
            seen = trace(profiles[1], rides[-1])
            signals = [
                np.asarray(getattr(seen, field), dtype=np.float64) for field in seen.__slots__
            ]
            ridden_digest = digest(results.metrics, results.outcome)
            lines.append(f"{course} {len(rides)} {ridden_digest} {digest(*signals)}\n")
    lines.append(f"hill_town drawn courses {_DRAWN} {digest(*laid_day('hill_town', _DRAWN))}\n")
    return "".join(lines)


def main() -> None:
    """Write the table, or print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--print", action="store_true")
    if parser.parse_args().print:
        sys.stdout.write(table())
    else:
        TABLE.write_text(table(), encoding="utf-8")


if __name__ == "__main__":
    main()
