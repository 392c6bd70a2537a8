"""From the files of a user to a study, or to a single profile, with every number checked."""

import dataclasses
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from objectives.score import OBJECTIVES
from objectives.score_settings import ScoreSettings
from optimizer.base.errors import ProfileError, StudyFileError, UserInputError, caused_by
from optimizer.base.json_io import parse_json
from optimizer.base.messages import shown
from optimizer.base.reading import read_text
from optimizer.base.toml_io import Table, parse_toml
from optimizer.search.space import Space
from optimizer.study.catalogue import (
    BALANCE_VARIANT,
    COURSE,
    PROFILE,
    RIDER,
    changed,
    resolved,
    resolved_group,
    shelves,
    used_name,
)
from optimizer.study.course_rides import course_rides
from optimizer.study.dataclass_schema import section_model, section_of
from optimizer.study.handling import handling_rides
from optimizer.study.measured import refuse_unmeasured
from optimizer.study.paths import STUDY_FILE
from optimizer.study.rewound_motor import resolved_board
from optimizer.study.riding_day_schema import riding_day_of
from optimizer.study.scaled_catalogue import catalogue_scaling, scaled_baseline
from optimizer.study.scaling import Scaling, scaled_bounds
from optimizer.study.schema import SearchTable, StudyTable, settings_of
from optimizer.study.schema_errors import checked
from optimizer.study.start_profiles import read_start
from optimizer.study.study import Study
from optimizer.study.tolerances_schema import tolerances_of
from optimizer.study.validation_schema import validation_of
from plant.description.board import Board
from plant.description.profile import SINGLE_LOOP, AccelerationLoop, Profile
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.description.quantity import quantities
from plant.description.rider import Rider

_WARN = frozenset({"reserve_warning_ratio", "warning_lift_deg"})
INNER_NAMES = tuple(declared.name for declared in quantities(AccelerationLoop))

_DEFAULTS = ("riding_day", "tolerances")  # tables that change what the catalogue holds

_Section = TypeVar("_Section")


@caused_by(StudyFileError)
def load_study(folder: Path, *, text: str | None = None) -> Study:
    """Read and check the study file of a folder.

    Parameters
    ----------
    folder : Path
        Holds study.toml, and the files of routes that it names.
    text : str, optional
        What stands in study.toml, if not what stands there now.

    Raises
    ------
    StudyFileError
        Something in the file is not allowed, or a file it names can not be read; one line.
    """
    path = folder / STUDY_FILE
    if text is None:
        text = read_text(path, missing="make a study with: levelgain new FOLDER")
    written = parse_toml(text, path=path)
    resolved_table, rewound = _resolved_study(written, path=path)
    table = checked(StudyTable, resolved_table, path=path)
    board = _built(Board, table.board, path=path, key="board")
    riders = {
        name: _built(Rider, rider, path=path, key=f"riders.{name}")
        for name, rider in table.riders.items()
    }
    rides = course_rides(
        table.courses,
        riders,
        variants=table.balance_variants,
        board=board,
        seed=table.seed,
        path=path,
    )
    baseline = _built(Profile, table.baseline, path=path, key="baseline")
    scaling = catalogue_scaling(table.scaled_from, board, path=path)
    if scaling is not None:
        baseline = scaled_baseline(baseline, scaling, board, written["baseline"], path=path)
    _check_structure(table.structure, written, baseline, path=path)
    space = _space(table, baseline, scaling, given=_own_bounds(written), path=path)
    start = _start(table.search, space, baseline, path=path)
    settings = _settings(table, space, path=path)
    study = Study(
        folder=folder,
        text=text,
        title=table.title,
        seed=table.seed,
        population=table.search.population,
        n_candidates=table.search.candidates + len(start),
        board_name=used_name(written["board"]),
        board=board,
        rewound=rewound,
        scaled_from=table.scaled_from,
        scaling=scaling,
        riders=riders,
        balance_variants=table.balance_variants,
        courses={ride.course.name: ride.course for ride in rides},
        rides=rides,
        handling=handling_rides(rides, riders, board=board, seed=table.seed, path=path),
        ride_weights=np.array([table.courses[ride.course.name].weight for ride in rides]),
        n_hard_rides=table.search.hard_rides,
        hard_rides_h=table.search.hard_rides_h,
        baseline=baseline,
        structure=table.structure,
        space=space,
        start=start,
        weights={name: getattr(table.objectives.weights, name) for name in OBJECTIVES},
        wanted_feel=table.objectives.feel,
        feel_weight=0.0 if table.objectives.feel is None else table.objectives.weights.feel,
        settings=settings,
        riding_day=riding_day_of(table.riding_day, path=path),
        tolerances=tolerances_of(table.tolerances),
        validation=validation_of(table.validation, seed=table.seed, path=path),
        database=table.database,
        device=table.device,
    )
    refuse_unmeasured(study.described_rides, settings, path=path)
    return study


@caused_by(ProfileError)
def load_profile(path: Path) -> Profile:
    """Read a single profile from a file of TOML or JSON: its sections, or a table `profile`.

    A file with a table `profile`, as an export writes it, may hold anything else beside it.

    Raises
    ------
    ProfileError
        The file can not be read, or is not a profile; one line.
    """
    text = read_text(path, missing="check the path")
    # No TOML begins with a brace.
    is_json = path.suffix.lower() == ".json" or text.lstrip().startswith("{")
    table: Any = parse_json(text, path=path) if is_json else parse_toml(text, path=path)
    key = "profile" if "profile" in table else ""
    table = resolved(table["profile"] if key else table, PROFILE, path=path, key=key)
    found = checked(section_model(Profile), table, path=path, key=key)
    return _built(Profile, found, path=path, key=key or "file")


def _resolved_study(written: Table, *, path: Path) -> tuple[Table, Table]:
    """Return the study's tables with every name of the catalogue replaced by its entry.

    The second table holds the numbers of the motor that follow from another Kv.
    """
    _refuse_moved(written, path=path)
    table, rewound = dict(written), Table()
    if "board" in table:
        table["board"], rewound = resolved_board(table["board"], path=path)
    if "baseline" in table:
        table["baseline"] = resolved(table["baseline"], PROFILE, path=path, key="baseline")
    for key, kind in (("riders", RIDER), ("courses", COURSE)):
        table[key] = resolved_group(table.get(key, {}), kind, path=path, key=key)
    table["balance_variants"] = resolved_group(
        table.get("balance_variants", {"use": "all"}),
        BALANCE_VARIANT,
        path=path,
        key="balance_variants",
        may_be_empty=True,
    )
    for key in _DEFAULTS:
        own = table.get(key, {})
        table[key] = changed(shelves()[key], own) if isinstance(own, dict) else own
    search = table.get("search", {})
    if isinstance(search, dict) and isinstance(search.get("bounds", {}), dict):
        bounds = changed(shelves()["bounds"], search.get("bounds", {}))
        table["search"] = search | {"bounds": bounds}
    return table, rewound


def _refuse_moved(written: Table, *, path: Path) -> None:
    """Refuse tables where they stood before they decided the search."""
    validation = written.get("validation")
    for key in _DEFAULTS:
        if isinstance(validation, dict) and key in validation:
            raise UserInputError(
                f"{path}: validation.{key}: is a table of its own, since it decides the search too;"
                f" write [{key}] for [validation.{key}]"
            )


def _built(section: type[_Section], table: Any, *, path: Path, key: str) -> _Section:
    try:
        return section_of(section, table)
    except ValueError as error:
        raise UserInputError(f"{path}: {key}: {error}; change one of them") from None


def _own_bounds(written: Table) -> set[str]:
    """Return the names of the parameters whose bounds the file gives itself."""
    return set(written.get("search", {}).get("bounds", {}))


def _settings(table: StudyTable, space: Space, *, path: Path) -> ScoreSettings:
    try:
        settings = settings_of(table)
    except ValueError as error:
        raise UserInputError(f"{path}: {error}; correct it") from None
    asked = "least_warning_s" in table.constraints.model_fields_set
    if not asked and not _WARN.intersection(space.names):
        # A controller without such a warning would have no feasible candidate.
        settings = dataclasses.replace(settings, least_warning_s=None)
    return settings


def _start(
    search: SearchTable, space: Space, baseline: Profile, *, path: Path
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Return the profiles to start from that lie inside the searched box."""
    if search.start is None:
        return np.empty((0, space.n_parameters))
    values = dict(zip(PROFILE_NAMES, profile_to_array(baseline).tolist(), strict=True))
    own = np.array([values[name] for name in space.names])
    found = read_start(path.parent / search.start, names=space.names, baseline=own)
    inside = np.all((found >= space.low) & (found <= space.high), axis=1)
    if not inside.any():
        raise UserInputError(
            f"{path}: search.start: none of the {len(found)} profiles in {search.start} lies inside"
            " the searched bounds; widen search.bounds, or take search.start out"
        )
    return np.asarray(found[inside])


def _check_structure(structure: str, written: Table, baseline: Profile, *, path: Path) -> None:
    """Refuse an acceleration loop in a study of the single loop."""
    if structure == "nested":
        return
    advice = 'write structure = "nested" or take it out'
    if baseline.acceleration_loop != SINGLE_LOOP:
        raise UserInputError(
            f"{path}: baseline.acceleration_loop: is only for the nested structure; {advice}"
        )
    search = written.get("search", {})
    for key in ("bounds", "fixed"):
        for name in INNER_NAMES:
            if name in search.get(key, ()):
                raise UserInputError(
                    f"{path}: search.{key}: {name} is only for the nested structure; {advice}"
                )


def _space(
    table: StudyTable, baseline: Profile, scaling: Scaling | None, *, given: set[str], path: Path
) -> Space:
    """Return the searched box; the baseline must lie inside."""
    search: SearchTable = table.search
    left_out = {*search.fixed, *(INNER_NAMES if table.structure == "single" else ())}
    values = dict(zip(PROFILE_NAMES, profile_to_array(baseline).tolist(), strict=True))
    bounds = {
        name: getattr(search.bounds, name)
        for name in PROFILE_NAMES
        if getattr(search.bounds, name) is not None and name not in left_out
    }
    if not bounds:
        raise UserInputError(
            f"{path}: search.fixed: at least one parameter must be searched, got none;"
            " take a name out"
        )
    if scaling is not None:
        own = {name: ends for name, ends in bounds.items() if name in given}
        bounds = scaled_bounds(bounds, scaling, values) | own
    for name, (low, high) in bounds.items():
        if not low <= values[name] <= high:
            raise UserInputError(
                f"{path}: search.bounds.{name}: must hold the baseline's {values[name]:g},"
                f" got {shown([low, high])}; widen the bounds or change the baseline"
            )
    return Space(
        names=tuple(bounds),
        low=np.array([low for low, _ in bounds.values()]),
        high=np.array([high for _, high in bounds.values()]),
    )
