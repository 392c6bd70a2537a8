"""Whether the database that a study file names is used: study files are passed on.

Otherwise its writer would choose where this user's name and password are sent. So the
user agrees once to each address; agreed ones are kept in the user's own settings, no password among
them, for a study file holds none.
"""

import contextlib
from pathlib import Path

import platformdirs

from optimizer.base.atomic_files import write_whole
from optimizer.base.database_url import shown_address
from optimizer.base.errors import MachineError, UserInputError
from optimizer.study.paths import STUDY_FILE
from optimizer.study.study import Study


def agreed_file() -> Path:
    """Return the file of the addresses to which this user has agreed, one on a line."""
    return platformdirs.user_config_path("levelgain", appauthor=False) / "databases.txt"


def is_agreed(address: str) -> bool:
    """Say whether this user has agreed to an address before."""
    return shown_address(address) in _agreed()


def agree(address: str) -> None:
    """Keep an address as agreed to; settings that can not be written are asked for again."""
    agreed = [*_agreed(), shown_address(address)]
    with contextlib.suppress(UserInputError):
        write_whole(agreed_file(), "".join(f"{line}\n" for line in dict.fromkeys(agreed)))


def database_of(study: Study, given: str | None) -> str | None:
    """Return the database to use: the one given, or the study's if the user has agreed to it.

    Raises
    ------
    MachineError
        The study names one to which the user has not agreed yet.
    """
    if given is not None:
        return given
    if study.database is None or is_agreed(study.database):
        return study.database
    raise MachineError(
        f"{study.folder / STUDY_FILE}: database: names {shown_address(study.database)}, which would"
        " get your database user and password; agree to that once with --trust-database (in Python"
        " with database=study.database), or take the line out"
    )


def _agreed() -> list[str]:
    try:
        return agreed_file().read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        return []
