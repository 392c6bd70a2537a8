"""The catalogue's baseline on a study's own board: its currents scaled by physics."""

from pathlib import Path
from typing import Any

import numpy as np

from optimizer.base.errors import UserInputError
from optimizer.study.catalogue import used_name
from optimizer.study.dataclass_schema import section_model, section_of
from optimizer.study.rewound_motor import resolved_board
from optimizer.study.scaling import Scaling, board_scaling, transferred
from optimizer.study.schema_errors import checked
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, array_to_profile, profile_to_array


def catalogue_scaling(scaled_from: str | None, board: Board, *, path: Path) -> Scaling | None:
    """Return how the catalogue's baseline and bounds are scaled; None where they are not.

    Parameters
    ----------
    scaled_from : str or None
        Board of the catalogue for which they are made.
    board : Board
        The study's.
    path : Path
        The study file, for messages.

    Raises
    ------
    UserInputError
        The catalogue has no such board.
    """
    if scaled_from is None:
        return None
    table, _ = resolved_board(scaled_from, path=path, key="scaled_from")
    model = checked(section_model(Board), table, path=path, key="scaled_from")
    return board_scaling(section_of(Board, model), board)


def scaled_baseline(
    baseline: Profile, by: Scaling, board: Board, written: Any, *, path: Path
) -> Profile:
    """Return the baseline with the numbers scaled that the study file does not give itself.

    Parameters
    ----------
    baseline : Profile
        With the catalogue's numbers filled in.
    by : Scaling
    board : Board
        The study's.
    written : Any
        What the file holds of the baseline.
    path : Path
        The file, for messages.

    Raises
    ------
    UserInputError
        A scaled number is outside what a profile can be.
    """
    if used_name(written) == "own":
        return baseline
    sections = written.values() if isinstance(written, dict) else ()
    given = {name for section in sections if isinstance(section, dict) for name in section}
    row = profile_to_array(baseline)
    own = np.array([name in given for name in PROFILE_NAMES])
    try:
        return array_to_profile(np.where(own, row, transferred(row, by, board)))
    except ValueError as error:
        raise UserInputError(
            f"{path}: scaled_from: with currents times {by.current_ratio:.3g} the baseline is"
            f" outside what a profile can be: {error}; give that number in [baseline]"
        ) from None
