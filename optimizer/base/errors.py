"""What can be wrong with what a user gave us: one error class for each cause."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optimizer.base.printable import one_line


class UserInputError(ValueError):
    """One line for the user: which file, which key, what was found, what is allowed, what to do.

    The command line prints the message and exits with code 2, without a traceback.

    Parameters
    ----------
    message : str
        What a file holds may stand in it as it is: it is made printable, and one line.
    """

    def __init__(self, message: str) -> None:
        super().__init__(one_line(message))


class ArgumentError(UserInputError):
    """An argument has a value that is not allowed; a command says it of its option.

    Parameters
    ----------
    argument : str
        As Python names it.
    fault : str
        What must hold, what was found, and what to do.
    """

    def __init__(self, argument: str, fault: str) -> None:
        super().__init__(f"{argument}: {fault}")
        self.argument = argument
        self.fault = fault


class StudyFileError(UserInputError):
    """A study file, or a file that it names, can not be read or holds what is not allowed."""


class ProfileError(UserInputError):
    """A file holds no profile that is allowed."""


class LogError(UserInputError):
    """A ride log or its mapping can not be read, or holds too little."""


class FileError(UserInputError):
    """A file can not be written, or is there already."""


class AlreadyThereError(FileError):
    """A file that would be written is there already.

    Parameters
    ----------
    path : Path
        The file; kept, so that a command can name its own options in the advice.
    advice : str
        What to do.
    """

    def __init__(self, path: Path, *, advice: str) -> None:
        super().__init__(f"{path}: is there already; {advice}")
        self.path = path


class NotStartedError(UserInputError):
    """A study has no finished candidate yet."""


class AlreadyStartedError(UserInputError):
    """A study that was to be started has a store already."""


class StoreError(UserInputError):
    """The store of a study is damaged, in use, or of other inputs or another version."""


class CandidateError(UserInputError):
    """A study has no candidate of that number, and no pick of that name."""


class RideError(UserInputError):
    """A study has no ride of that course and rider."""


class MachineError(UserInputError):
    """A database or a cluster that shares a study, or a GPU, can not be used."""


@contextmanager
def caused_by(cause: type[UserInputError]) -> Iterator[None]:
    """Give errors inside the block their cause, where they name none yet.

    Files are read by functions that do not know what they are read for; a block, or a function
    that this decorates, says it once for all of them.
    """
    try:
        yield
    except UserInputError as error:
        if type(error) not in (UserInputError, ArgumentError):
            raise
        raise cause(*error.args) from None
