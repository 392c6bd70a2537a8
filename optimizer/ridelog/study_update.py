"""What a log says, put into the file of a study that is there: board, tolerances and baseline."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tomli_w

from optimizer.base.errors import UserInputError
from optimizer.base.toml_io import parse_toml
from optimizer.base.typed_digits import typed
from optimizer.ridelog.fits.all_fits import Fits
from optimizer.ridelog.study_from_log import (
    PROFILE_PLACES,
    board_numbers,
    ridden_profile,
    tolerance_tables,
    with_board_numbers,
)
from optimizer.ridelog.study_text import compact
from optimizer.study.catalogue import changed
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.study import Study
from plant.description.board import Board
from plant.description.quantity import declared_numbers

# Taken as true by the fits, so that another value of the study would make them another board's.
_SAME = (("wheel", "wheel_radius_m"), ("motor", "pole_pairs"), ("battery", "cells_in_series"))
_OF_THE_DAY = "charge_ratio"  # how full the pack was at the log's start
_OF_BOARD = declared_numbers(Board)
_HEAD = """\
# Board, tolerances and baseline are those of the ride log {log};
# everything else is as it was, less its comments.

"""


def updated_text(study: Study, fits: Fits, mapping: LogMapping, *, path: Path, log: Path) -> str:
    """Return the text of a study's file with what a log determines in it.

    Bounds of the search that do not hold a setting that was ridden are widened to it.

    Parameters
    ----------
    study : Study
    fits : Fits
    mapping : LogMapping
    path : Path
        The study's file, for messages.
    log : Path
        Named in the text.

    Raises
    ------
    UserInputError
        The study's board has another wheel, other pole pairs or other cells than the mapping's, or
        the log determines nothing of a study.
    """
    _refuse_other_board(study.board, mapping, path=path)
    numbers = {
        name: pair
        for name, pair in board_numbers(fits, mapping).items()
        if name in _OF_BOARD and name != _OF_THE_DAY
    }
    profile = {name: typed(value) for name, value in ridden_profile(fits).items()}
    if not numbers and not profile:
        raise UserInputError(
            f"{log}: determines no number of a board or a profile, so {path} stays as it is; see"
            " what it leaves open with: levelgain log fit"
        )
    tables = dict(parse_toml(study.text, path=path))
    tables["board"] = with_board_numbers(tables["board"], numbers)
    tables["tolerances"] = {**tables.get("tolerances", {}), **dict(tolerance_tables(numbers))}
    if profile:
        tables["baseline"] = _with_profile(tables["baseline"], profile)
        bounds = dict(_widened(study, profile))
        if bounds:
            search = tables.get("search", {})
            tables["search"] = {**search, "bounds": {**search.get("bounds", {}), **bounds}}
    return _HEAD.format(log=log.name) + compact(tomli_w.dumps(tables))


def _refuse_other_board(board: Board, mapping: LogMapping, *, path: Path) -> None:
    for section, name in _SAME:
        own, mapped = (getattr(getattr(each, section), name) for each in (board, mapping.board))
        if own != mapped:
            raise UserInputError(
                f"{path}: board.{section}.{name}: must be the mapping's {mapped:g}, which the fits"
                f" take as true, got {own:g}; correct the one or the other (mapping:"
                f" {mapping.path})"
            )


def _with_profile(written: Any, profile: dict[str, float]) -> dict[str, Any]:
    table: dict[str, Any] = {"use": written} if isinstance(written, str) else dict(written)
    for name, value in profile.items():
        section = PROFILE_PLACES[name]
        table[section] = changed(table.get(section, {}), {name: value})
    return table


def _widened(study: Study, profile: dict[str, float]) -> Iterator[tuple[str, list[float]]]:
    space = study.space
    for name, low, high in zip(space.names, space.low.tolist(), space.high.tolist(), strict=True):
        value = profile.get(name, low)
        if not low <= value <= high:
            yield name, [min(low, value), max(high, value)]
