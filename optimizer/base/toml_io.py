"""Read a TOML file of the user's; every failure is one line."""

import tomllib
from pathlib import Path
from typing import Any, TypeAlias

from optimizer.base.errors import UserInputError
from optimizer.base.reading import reading

Table: TypeAlias = dict[str, Any]


def read_text(path: Path, *, missing: str = "check the path") -> str:
    """Return the text of a file.

    Parameters
    ----------
    path : Path
    missing : str
        What to do when there is no such file.

    Raises
    ------
    UserInputError
        There is no such file, it can not be read, or it is not UTF-8 text.
    """
    try:
        with reading(path, missing=missing):
            return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise UserInputError(
            f"{path}: must be UTF-8 text, byte {error.start} is not; save it as UTF-8"
        ) from None


def parse_toml(text: str, *, path: Path) -> Table:
    """Return the tables of a TOML text; `path` names it in messages.

    Raises
    ------
    UserInputError
        The text is not TOML; the line names line and column.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UserInputError(f"{path}: not valid TOML: {error}; correct that place") from None


def read_toml(path: Path, *, missing: str = "check the path") -> Table:
    """Return the tables of a TOML file; the arguments and errors are those of the parts."""
    return parse_toml(read_text(path, missing=missing), path=path)
