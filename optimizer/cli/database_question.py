"""The question whether the database that a study file names is to be used."""

import sys

import typer

from optimizer.base.database_url import shown_address
from optimizer.execution.named_database import agree, database_of, is_agreed
from optimizer.study.study import Study


def agreed_database(study: Study, given: str | None, *, trusted: bool) -> str | None:
    """Return the database to use; ask once in a terminal about one that the study file names.

    Parameters
    ----------
    study : Study
    given : str, optional
        Address from the command line, which is the user's own and not asked about.
    trusted : bool
        Whether the user agrees without being asked.

    Raises
    ------
    MachineError
        The study names one to which the user has not agreed.
    """
    named = study.database
    if given is not None or named is None or is_agreed(named):
        return database_of(study, given)
    if not trusted and sys.stdin.isatty() and sys.stderr.isatty():
        trusted = typer.confirm(
            f"The study file names the database {shown_address(named)}. It would get your database"
            " user and password, and every candidate. Use it, now and later?",
            err=True,
        )
    if not trusted:
        return database_of(study, given)
    agree(named)
    return named
