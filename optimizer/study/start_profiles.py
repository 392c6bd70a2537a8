"""Profiles that a search starts from: read from a file beside the study."""

import csv
from pathlib import Path

import numpy as np

from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest, shown
from optimizer.base.reading import MOST_TABLE_BYTES, read_text
from plant.arrays import Floats
from plant.description.profile_array import PROFILE_NAMES


def read_start(path: Path, *, names: tuple[str, ...], baseline: Floats) -> Floats:
    """Read profiles to start from, (profile, parameter), in the order of `names`.

    Parameters
    ----------
    path : Path
        CSV: a header of parameter names, then a row for each profile.
    names : tuple of str
        The searched parameters.
    baseline : (parameter,) float64
        For parameters that the file does not have; columns that are not searched are passed over.

    Raises
    ------
    UserInputError
        The file can not be read, names what a profile does not have, or holds something that is
        no number.
    """
    text = read_text(path, most_bytes=MOST_TABLE_BYTES)
    try:
        rows = list(csv.reader(text.splitlines()))
    except csv.Error as error:
        raise UserInputError(f"{path}: not a CSV file: {error}; correct it") from None
    if len(rows) < 2:
        raise UserInputError(f"{path}: must hold a header and at least one profile; fill it")
    header = rows[0]
    for name in header:
        if name not in PROFILE_NAMES:
            raise UserInputError(
                f"{path}: a profile has no {shown(name)}; the nearest is"
                f" {nearest(name, PROFILE_NAMES)!r}; correct the header"
            )
        if header.count(name) > 1:
            raise UserInputError(f"{path}: names {name} twice; take one of the columns out")
    values = np.tile(baseline, (len(rows) - 1, 1))
    for line, row in enumerate(rows[1:]):
        if len(row) != len(header):
            raise UserInputError(
                f"{path}: line {line + 2}: must hold {len(header)} numbers, got {len(row)};"
                " complete it"
            )
        for name, text in zip(header, row, strict=True):
            if name in names:
                values[line, names.index(name)] = _number(text, path=path, line=line + 2)
    return values


def _number(text: str, *, path: Path, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        raise UserInputError(
            f"{path}: line {line}: must be a finite number, got {shown(text)}; correct it"
        )
    return value
