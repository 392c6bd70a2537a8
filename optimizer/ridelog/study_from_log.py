"""A study from a log: fitted board, intervals as tolerances, ridden route and profile."""

import io
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.base.atomic_files import refuse_existing, write_whole
from optimizer.base.typed_digits import typed
from optimizer.ridelog.fits.all_fits import Fits
from optimizer.ridelog.fits.controller_law import LOAD_EXPECTED, SETTINGS
from optimizer.ridelog.fits.road import kv_of_load
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.ridelog.ridden_segment import Segment
from optimizer.ridelog.scaled_defaults import USUAL, assumed_limits, scaled_defaults
from optimizer.ridelog.study_text import study_text
from optimizer.study.catalogue import CATALOGUE_FOLDER, PROFILE, changed, resolved, shelves
from optimizer.study.catalogue import RIDER as KIND
from optimizer.study.dataclass_schema import section_model, section_of
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.own_board import MODEL_BOARD
from optimizer.study.paths import ROUTE_FILE, STUDY_FILE
from optimizer.study.schema_errors import checked
from optimizer.study.tolerances import KNOWN
from plant.description.board import Board
from plant.description.cells import charge_of
from plant.description.profile import Profile
from plant.description.quantity import declared_numbers
from plant.description.rider import Rider

COURSE, RIDER = "ridden", "logged"
SURFACE = "asphalt"  # whose roughness stands for the ridden one
_BELIEVED = 0.5  # half an interval over the value, from which a fit does not replace the catalogue
_BOARD = declared_numbers(Board)
_PROFILE = declared_numbers(Profile)
PROFILE_PLACES = {name: section for name, (section, _) in _PROFILE.items()}  # where each stands
# Settings of the profile by their names in the fit of the controller.
_PROFILE_NAMES = {name: name for name in SETTINGS if name in _PROFILE} | {
    LOAD_EXPECTED: "expected_current_a_per_mps2"
}
_ABSENT = 0.25  # half an interval over the catalogue's value: so nothing means nothing
_HEAD = """\
# Made from the ride log {log}. Fitted numbers replace the catalogue's; their
# 95 % intervals stand under [tolerances]. Heights of the ridden route come from
# {heights}.
# The catalogue's courses are ridden beside the ridden one, by the rider of the log. The baseline is
# the profile that was ridden. What the log did not determine is the catalogue's: check it against
# your board. Of the catalogue's baseline and bounds, currents go with this board's torque per amp,
# wheel and mass, by scaled_from; the settings that were ridden stay as they are.

"""


def believed(fits: Fits) -> dict[str, tuple[float, float]]:
    """Return value and half interval of each number that the log determines well, by name.

    A number that ended at its bound is none of them.
    """
    found = {}
    for fit in fits.values():
        if isinstance(fit, str):
            continue
        for place, name in enumerate(fit.names):
            value, low, high = fit.estimate(name)
            half = (high - low) / 2.0
            if half <= _BELIEVED * abs(value) and not fit.at_bound[place]:
                found[name] = (value, half)
    return found


def ended_at_bound(fits: Fits) -> dict[str, float]:
    """Return the numbers a study would take, had they not ended at a bound, by name.

    A bound is an end of what the fit takes for possible. The settings of a profile also have one
    each in `plant.description.profile`, and count where their interval lies beyond it.
    """
    found = {}
    for fit in fits.values():
        if isinstance(fit, str):
            continue
        for place, name in enumerate(fit.names):
            if name not in KNOWN and name not in _PROFILE_NAMES:
                continue
            if fit.at_bound[place] or (name in _PROFILE_NAMES and _beyond(fit, name)):
                found[name] = fit.estimate(name)[0]
    return found


def _beyond(fit: Fit, name: str) -> bool:
    """Say whether a setting's whole interval lies outside of what a profile can have."""
    _, declared = _PROFILE[_PROFILE_NAMES[name]]
    _, low, high = fit.estimate(name)
    return high < declared.low or low > declared.high


def write_study(
    folder: Path, fits: Fits, segment: Segment, mapping: LogMapping, *, log: Path
) -> Path:
    """Write a study folder and return the path of its study file.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    fits : Fits
    segment : Segment
    mapping : LogMapping
    log : Path
        Named in the study's head.

    Raises
    ------
    UserInputError
        The folder holds a study already, or can not be written.
    """
    study, route = folder / STUDY_FILE, folder / ROUTE_FILE
    refuse_existing([study, route], advice="name a new folder")
    points = io.StringIO()
    np.savetxt(
        points,
        np.column_stack([segment.distance_m, segment.height_m]),
        fmt="%.2f",
        delimiter=",",
        header="distance_m,height_m",
        comments="",
    )
    write_whole(route, points.getvalue())
    head = _HEAD.format(log=log.name, heights=segment.heights_from)
    tables, reasons = study_table(fits, segment, mapping)
    usual = scaled_defaults(tables["board"], {}, mapping).baseline
    write_whole(study, head + study_text(tables, mapping.board, usual, reasons))
    return study


def study_table(
    fits: Fits, segment: Segment, mapping: LogMapping
) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the tables of the study file, and what is said behind single keys of it."""
    known = believed(fits)
    numbers = board_numbers(fits, mapping)
    baseline: dict[str, Any] = {"use": USUAL}
    profile = ridden_profile(fits)
    rider = rider_table(mapping)
    body = rider["body"]
    if "drag_area_m2" in numbers:
        body["drag_area_m2"] = rounded(numbers["drag_area_m2"][0])
    for name, value in profile.items():
        baseline.setdefault(_PROFILE[name][0], {})[name] = typed(value)
    board = with_board_numbers(mapping.board_written, numbers)
    kv = numbers.get("kv_rpm_per_v", (mapping.board.motor.kv_rpm_per_v, 0.0))[0]
    limits = assumed_limits(mapping, kv)
    for name, (section, value, _) in limits.items():
        board[section] = changed(board.get(section, {}), {name: value})
    bounds = dict(_wider_bounds(board, profile, mapping))
    return {
        "title": "The board and the ride of a log",
        "seed": 1,
        "scaled_from": MODEL_BOARD,
        "board": board,
        "riders": {RIDER: rider},
        "courses": {"use": "all", COURSE: _course(segment, known)},
        "baseline": baseline,
        **({"search": {"bounds": bounds}} if bounds else {}),
        "tolerances": dict(tolerance_tables(numbers)),
    }, {name: why for name, (_, _, why) in limits.items()}


def ridden_profile(fits: Fits) -> dict[str, float]:
    """Return the settings of the ridden profile that the log determines well enough, by name."""
    fit = fits["controller"]
    if isinstance(fit, str):
        return {}
    usual = resolved(USUAL, PROFILE, path=CATALOGUE_FOLDER, key="profiles")
    found = {}
    for name, setting in _PROFILE_NAMES.items():
        if name not in fit.names or fit.at_bound[fit.names.index(name)] or _beyond(fit, name):
            continue
        value, low, high = fit.estimate(name)
        section, declared = _PROFILE[setting]
        if (high - low) / 2.0 <= max(_BELIEVED * abs(value), _ABSENT * usual[section][setting]):
            found[setting] = min(max(value, declared.low), declared.high)
    return found


def board_numbers(fits: Fits, mapping: LogMapping) -> dict[str, tuple[float, float]]:
    """Return the numbers of board and rider that the fits determine, each with half its interval.

    Those outside of what a number can be are left out.
    """
    known = believed(fits)
    numbers = dict(known)
    cells = mapping.board.battery.cells_in_series
    if "rest_voltage_v" in known:
        rest, half = known["rest_voltage_v"]
        low, middle, high = (
            charge_of((rest + by) / cells, mapping.board.battery.chemistry)
            for by in (-half, 0.0, half)
        )
        numbers["charge_ratio"] = (middle, (high - low) / 2.0)
    if isinstance(fits["motor"], str) and "expected_current_a_per_mps2" in known:
        expected, half = known["expected_current_a_per_mps2"]
        kv = kv_of_load(expected, mapping.board, mapping.rider_mass_kg)
        numbers["kv_rpm_per_v"] = (kv, kv * half / expected)
    return {
        name: pair
        for name, pair in numbers.items()
        if name in KNOWN and KNOWN[name][1].low <= pair[0] <= KNOWN[name][1].high
    }


def with_board_numbers(written: Any, numbers: Mapping[str, tuple[float, float]]) -> dict[str, Any]:
    """Return a board as a file describes it, with numbers of it replaced."""
    table: dict[str, Any] = {"use": written} if isinstance(written, str) else dict(written)
    for name, (value, _) in numbers.items():
        if name in _BOARD:
            section = _BOARD[name][0]
            before = table.get(section, {})
            before = {"use": before} if isinstance(before, str) else before
            table[section] = changed(before, {name: rounded(value)})
    return table


def rider_table(mapping: LogMapping) -> dict[str, Any]:
    """Return the rider of a log as a study describes one: the nearest of the catalogue."""
    return {
        "use": _nearest_rider(mapping.rider_mass_kg),
        "body": {"mass_kg": mapping.rider_mass_kg},
    }


def rider_of(mapping: LogMapping) -> Rider:
    """Return the rider of a log."""
    table = resolved(rider_table(mapping), KIND, path=mapping.path, key="rider")
    return section_of(Rider, checked(section_model(Rider), table, path=mapping.path, key="rider"))


def _nearest_rider(mass_kg: float) -> str:
    riders = shelves()["riders"]

    def apart(name: str) -> float:
        return abs(float(riders[name].get("body", {}).get("mass_kg", np.inf)) - mass_kg)

    return min(riders, key=apart)


def _course(segment: Segment, known: dict[str, tuple[float, float]]) -> dict[str, Any]:
    surface: dict[str, Any] = {"use": SURFACE}
    rolling = known.get("rolling_ratio", (-1.0, 0.0))[0]
    if rolling >= 0.0:
        surface["rolling_ratio"] = rounded(rolling)
    end_s = segment.speed_points[-1][0]
    return {
        "title": "The ridden route at the ridden speeds",
        "road": {
            "patches": [{"from_m": 0.0, "surface": surface}],
            # The heights are averaged already; a shorter length keeps them.
            "elevation": {"file": ROUTE_FILE, "smooth_m": 10.0},
        },
        "manoeuvre": {
            "duration_s": end_s,
            "speed_mps": [list(point) for point in segment.speed_points],
            "hold_s": [[1.0, end_s]],
            "count_s": [[1.0, end_s]],
        },
    }


def _wider_bounds(
    board: Any, profile: dict[str, float], mapping: LogMapping
) -> Iterator[tuple[str, list[float]]]:
    """Yield bounds that hold what was ridden, where the catalogue's, scaled, do not."""
    ridden = {name: typed(value) for name, value in profile.items()}
    bounds = scaled_defaults(board, ridden, mapping).bounds
    for name, own in ridden.items():
        low, high = bounds.get(name, (own, own))
        if not low <= own <= high:
            yield name, [min(low, own), max(high, own)]


def tolerance_tables(
    numbers: Mapping[str, tuple[float, float]],
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the tolerance of each number as a file gives it, by name: half its interval."""
    for name, (_, half) in numbers.items():
        yield name, {"plus_minus": float(f"{half:.3g}"), "shape": "normal"}


def rounded(value: float) -> float:
    """Return a number with the digits that a file shows of it."""
    return float(f"{value:.5g}")


def fitted_names(fits: Fits) -> list[str]:
    """Return the names that a study takes from the fits."""
    return [name for name in believed(fits) if name in KNOWN] + list(ridden_profile(fits))


def road_fit(fits: Fits) -> Fit | str:
    """Return the fit of the road load, or why there is none."""
    return fits["road load"]
