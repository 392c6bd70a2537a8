"""What has changed in a study since its search was started, by the keys of its file."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from optimizer.base.errors import StoreError
from optimizer.base.hashing import digest, plain
from optimizer.execution.store import started_with
from optimizer.study.load import load_study
from optimizer.study.paths import STUDY_FILE, store_path
from optimizer.study.schema import OF_OBJECTIVES
from optimizer.study.study import Study

STARTED_VALUES = "study.values"  # under these names a store keeps what a study was started with
STARTED_TEXT = "study.text"
_NAMED = 3  # changes in a message
_LONG = 8  # numbers that a message shows

_KEYS = {
    "n_hard_rides": "search.hard_rides",
    "hard_rides_h": "search.hard_rides_h",
    "population": "search.population",
    "start": "search.start",
}
_FOLLOWING = ("handling", "rides")  # from seed, board, riders and courses
_OF_SEED = ".road_seed"


def started_values(study: Study) -> str:
    """Return what decides a study's results, each number by its key, as a text of JSON."""
    values = {key: value for key, value in _values(study) if not key.endswith(_OF_SEED)}
    return json.dumps(values)


def refuse_changed(path: Path, frozen: Mapping[str, str], study: Study) -> None:
    """Refuse to go on with a study whose file says something else than when it was started.

    Parameters
    ----------
    path : Path
        Of the store.
    frozen : mapping of str to str
        What the store was started with.
    study : Study
        Of another digest.

    Raises
    ------
    StoreError
        Names what changed, and how to go on.
    """
    folder = study.folder
    before = frozen.get(STARTED_VALUES)
    told = "; ".join(changes(before, started_values(study))) if before else ""
    fork = f"take it and what was found along into a new study: levelgain fork {folder} NEW"
    if not told:
        fork = "start a new study folder"
    raise StoreError(
        f"{folder / STUDY_FILE}: differs from what this study was started with"
        f" ({told or f'another study.digest than in {path.name}'}); put it back to go on, or {fork}"
    )


def as_started(study: Study) -> Study | None:
    """Return a study as its search was started, where its file has been changed since.

    None where it has not, or where its store does not say.

    Raises
    ------
    UserInputError
        The store can not be read, or a file that the study named then can not any more.
    """
    path = store_path(study.folder)
    digest_then, text = (started_with(path, key) for key in ("study.digest", STARTED_TEXT))
    if digest_then in (None, study.digest) or text is None:
        return None
    return load_study(study.folder, text=text)


def changes(before: str, now: str) -> list[str]:
    """Return what differs between two texts of `started_values`, in words.

    The first few are named, and how many more there are.
    """
    old, new = json.loads(before), json.loads(now)
    groups: dict[str, str] = {}
    for key in _different(old, new):
        if key in old and key in new:
            groups[key] = f"{key} was {_shown(old[key])}, is {_shown(new[key])}"
            continue
        # A rider or a course that is new or gone as a whole is told once.
        whole = _whole(key)
        stays = any(_whole(other) == whole for other in old.keys() & new.keys())
        name = key if stays else whole
        groups[name] = f"{name} is {'new' if key in new else 'gone'}"
    told = list(groups.values())
    more = len(told) - _NAMED
    return told[:_NAMED] + ([f"and {more} more"] if more > 0 else [])


def changed_values(before: Study, now: Study) -> list[tuple[str, str, str]]:
    """Return what differs between two studies: key, what was and what is, "-" where there is none.

    Parameters
    ----------
    before, now : Study
    """
    old, new = (json.loads(started_values(study)) for study in (before, now))
    was, now_is = ({key: _shown(value) for key, value in values.items()} for values in (old, new))
    return [(key, was.get(key, "-"), now_is.get(key, "-")) for key in _different(old, new)]


def _different(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    return [key for key in dict.fromkeys([*old, *new]) if old.get(key) != new.get(key)]


def _whole(key: str) -> str:
    """Return the key of the table that a file gives a name of its own: a rider or a course."""
    first, *rest = key.split(".")
    return f"{first}.{rest[0]}" if first in ("riders", "courses") and rest else key


def _values(study: Study) -> Iterator[tuple[str, Any]]:
    """Yield each number, text or short list that decides a study, by its key."""
    content = dict(study.deciding)
    for name in _FOLLOWING:
        content.pop(name)
    space = content.pop("space")
    day, tolerances = content.pop("riding_day")
    for name, low, high in zip(space.names, space.low, space.high, strict=True):
        yield f"search.bounds.{name}", [float(low), float(high)]
    yield from _flat("riding_day", plain(day))
    for tolerance in tolerances:
        yield from _flat(f"tolerances.{tolerance.name}", plain(tolerance))
    content.pop("ride_weights")
    yield from _by_course(study)
    for name, value in plain(content.pop("settings")).items():
        part = "objectives" if name in OF_OBJECTIVES else "constraints"
        yield from _flat(f"{part}.{name}", value)
    for name, value in content.items():
        yield from _flat(_KEYS.get(name, name), plain(value))


def _by_course(study: Study) -> Iterator[tuple[str, Any]]:
    """Yield weight and riders of each course."""
    for name in study.courses:
        rows = [row for row, ride in enumerate(study.rides) if ride.course.name == name]
        riders = [study.rides[row].rider_name for row in rows]
        yield f"courses.{name}.weight", float(study.ride_weights[rows[0]])
        yield f"courses.{name}.riders", "all" if riders == list(study.riders) else riders


def _flat(key: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for name, item in value.items():
            yield from _flat(f"{key}.{name}", item)
    else:
        text = json.dumps(value)
        yield key, value if len(text) <= 20 * _LONG else f"content {digest(value)[:8]}"


def _shown(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else json.dumps(value).replace('"', "'")
