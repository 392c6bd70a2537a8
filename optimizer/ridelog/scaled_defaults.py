"""What a study from a log takes of the catalogue, in proportion to the fitted board."""

import dataclasses
from collections.abc import Mapping
from typing import Any

from optimizer.study.catalogue import (
    BOARD,
    CATALOGUE_FOLDER,
    PROFILE,
    resolved,
    shelves,
    used_name,
)
from optimizer.study.dataclass_schema import section_model, section_of
from optimizer.study.log_data.mapping import LogMapping, board_of
from optimizer.study.own_board import MODEL_BOARD, OwnBoard, following_numbers
from optimizer.study.scaled_catalogue import scaled_baseline
from optimizer.study.scaling import board_scaling, scaled_bounds
from optimizer.study.schema_errors import checked
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, profile_to_array

USUAL = "workshop_15"  # the profile whose settings stay where the log determines none
# A ride inside its limits shows none of these, and no fit takes them as true.
_LIMITS = ("phase_current_limit_a", "bus_low_v", "bus_high_v", "regen_taper_v")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class ScaledDefaults:
    """The catalogue's baseline and search bounds, as they are on a board.

    Attributes
    ----------
    baseline : mapping of section to numbers
    bounds : mapping of str to (low, high)
        Those of currents hold the baseline.
    """

    baseline: Mapping[str, Mapping[str, float]]
    bounds: Mapping[str, tuple[float, float]]


def scaled_defaults(
    written_board: Any, own_profile: Mapping[str, float], mapping: LogMapping
) -> ScaledDefaults:
    """Return the catalogue's baseline and bounds for a board.

    Parameters
    ----------
    written_board : Any
        As a study's file describes it.
    own_profile : mapping of str to float
        Settings that the study gives itself, which are not scaled.
    mapping : LogMapping
        Named in messages.

    Raises
    ------
    UserInputError
        There can be no such board, or a scaled number is outside what a profile can be.
    """
    path = mapping.path
    board = board_of(written_board, path)
    by = board_scaling(board_of(MODEL_BOARD, path), board)
    usual = resolved(USUAL, PROFILE, path=CATALOGUE_FOLDER, key="profiles")
    profile = section_of(
        Profile, checked(section_model(Profile), usual, path=CATALOGUE_FOLDER, key="profiles")
    )
    profile = scaled_baseline(profile, by, board, USUAL, path=path)
    held = dict(zip(PROFILE_NAMES, profile_to_array(profile).tolist(), strict=True))
    bounds = {name: (float(low), float(high)) for name, (low, high) in shelves()["bounds"].items()}
    return ScaledDefaults(
        baseline=dataclasses.asdict(profile),
        bounds=scaled_bounds(bounds, by, held | dict(own_profile)),
    )


def assumed_limits(mapping: LogMapping, kv_rpm_per_v: float) -> dict[str, tuple[str, float, str]]:
    """Return limits in proportion to motor and cells: section, value and reason, by name.

    Only of a drive and a pack of which the mapping says nothing: one that it names, or a limit
    that it gives, is what the user knows.

    Parameters
    ----------
    mapping : LogMapping
    kv_rpm_per_v : float
        Of the study's motor.
    """
    written, board = mapping.board_written, mapping.board
    name = used_name(written)
    if name not in shelves()[BOARD.shelf]:
        return {}
    base = resolved(name, BOARD, path=mapping.path, key="board")
    own = OwnBoard(
        kv_rpm_per_v=kv_rpm_per_v,
        cells_in_series=int(board.battery.cells_in_series),
        wheel_diameter_m=2.0 * board.wheel.wheel_radius_m,
    )
    return {
        number: (section, value, why)
        for (section, number), value, why in following_numbers(own, base, base_name=name)
        if number in _LIMITS
        and value != base[section][number]
        and not _says(written, section, number)
    }


def _says(board: Any, section: str, number: str) -> bool:
    """Say whether a board, as a file describes it, gives a number or names the part it is of."""
    part = board.get(section, {}) if isinstance(board, dict) else {}
    return isinstance(part, str) or "use" in part or number in part
