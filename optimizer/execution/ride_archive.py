"""Rides that a fork takes along in a file of its own, so that it need not ride them again."""

import dataclasses
import io
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from optimizer.base.atomic_files import write_whole
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import digest
from optimizer.base.reading import NOT_AN_ARCHIVE, refuse_irregular
from optimizer.execution.provenance import model_inputs
from plant.arrays import Floats
from plant.kernel.simulate import Ride

_FORMAT = "3"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RideInputs:
    """All that decides a ride besides the profile, as names and digests.

    Attributes
    ----------
    course, rider : str
        Their names, which decide nothing.
    board_digest, rider_digest, course_digest : str
    seeds : str
        Of the road and of the noise.
    """

    course: str
    rider: str
    board_digest: str
    rider_digest: str
    course_digest: str
    seeds: str

    @property
    def key(self) -> tuple[str, ...]:
        """What two rides have in common that give every profile the same result."""
        return self.board_digest, self.rider_digest, self.course_digest, self.seeds


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """Profiles that were ridden over the same rides, or over some of them.

    Attributes
    ----------
    rides : tuple of RideInputs
    profiles : (profile, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    columns : (profile, ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`; all NaN where a profile did not ride a ride.
    """

    rides: tuple[RideInputs, ...]
    profiles: Floats
    columns: Floats


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridden:
    """What a file of rides holds.

    Attributes
    ----------
    versions : mapping of str to str
        Model and libraries that rode them; see `ride_versions`.
    parts : tuple of Part
        First the rides of the search, then those of the re-evaluation.
    """

    versions: Mapping[str, str]
    parts: tuple[Part, ...]


def inputs_of(ride: Ride) -> RideInputs:
    """Return what decides a ride besides the profile."""
    course = ride.course
    return RideInputs(
        course=course.name,
        rider=ride.rider_name,
        board_digest=digest(ride.board),
        rider_digest=digest(ride.rider),
        course_digest=digest([course.road, course.manoeuvre, course.part]),
        seeds=f"{course.road_seed} {ride.noise_seed}",
    )


def ride_versions() -> dict[str, str]:
    """Return the versions here of all that rides: equal versions give equal results."""
    return {"ridden.format": _FORMAT, **model_inputs()}


def versions_of(frozen: Mapping[str, str]) -> dict[str, str]:
    """Return the versions that rode a study's candidates, from what its store has frozen."""
    known = {**frozen, "ridden.format": _FORMAT}
    return {key: known[key] for key in ride_versions() if key in known}


def write_ridden(path: Path, ridden: Ridden) -> None:
    """Write rides into a file, whole.

    Raises
    ------
    UserInputError
        The file can not be written.
    """
    about = {
        "versions": dict(ridden.versions),
        "parts": [[dataclasses.asdict(ride) for ride in part.rides] for part in ridden.parts],
    }
    arrays = {"about": np.array(json.dumps(about))}
    for place, part in enumerate(ridden.parts):
        arrays[f"profiles_{place}"] = part.profiles
        arrays[f"columns_{place}"] = part.columns
    content = io.BytesIO()
    np.savez(content, **arrays)  # type: ignore[arg-type]  # none is called allow_pickle
    write_whole(path, content.getvalue())


def read_ridden(path: Path) -> Ridden:
    """Read a file of rides.

    Raises
    ------
    UserInputError
        It can not be read or is damaged.
    """
    refuse_irregular(path)
    try:
        return _read(path)
    except (*NOT_AN_ARCHIVE, AttributeError) as error:
        raise UserInputError(
            f"{path}: can not be read or is damaged ({' '.join(str(error).split())});"
            " delete it to ride everything anew, or fork again"
        ) from error


def _read(path: Path) -> Ridden:
    with zipfile.ZipFile(path):  # refuses what is no archive before numpy tries other formats
        pass
    with np.load(path, allow_pickle=False) as arrays:
        about = json.loads(str(arrays["about"]))
        parts = tuple(
            Part(
                rides=tuple(RideInputs(**ride) for ride in rides),
                profiles=arrays[f"profiles_{place}"],
                columns=arrays[f"columns_{place}"],
            )
            for place, rides in enumerate(about["parts"])
        )
    if not parts:
        raise ValueError("it holds no rides")
    for part in parts:
        if part.columns.shape[:2] != (len(part.profiles), len(part.rides)):
            raise ValueError("its tables do not fit each other")
    return Ridden(versions=about["versions"], parts=parts)
