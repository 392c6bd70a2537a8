"""What is said of a file of the user's that can not be read."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optimizer.base.errors import UserInputError


def no_such_file(path: Path, *, advice: str = "check the path") -> UserInputError:
    """Return the one line for a file that is not there."""
    return UserInputError(f"{path}: there is no such file; {advice}")


@contextmanager
def reading(path: Path, *, missing: str = "check the path") -> Iterator[None]:
    """Turn the system's errors inside the block into a `UserInputError` that names the file.

    Parameters
    ----------
    path : Path
    missing : str
        What to do when there is no such file.
    """
    try:
        yield
    except FileNotFoundError:
        raise no_such_file(path, advice=missing) from None
    except OSError as error:
        raise UserInputError(
            f"{path}: can not be read: {error.strerror}; check its kind and its permissions"
        ) from None
