"""Texts that take minutes to find, kept in the user's cache folder for the next process.

They lie beside the compiled kernel, under names made of all that they follow from. To delete them
costs the time to find them again.
"""

import contextlib
import json
from pathlib import Path

from optimizer.base.atomic_files import write_whole
from optimizer.base.errors import UserInputError
from plant.compile import CACHE_FOLDER


def kept_text(kind: str, key: str) -> str | None:
    """Return a text of JSON that was kept; None where there is none that can be read.

    Parameters
    ----------
    kind : str
        Folder for texts of this kind.
    key : str
        Digest of all that the text follows from.
    """
    try:
        text = _file(kind, key).read_text(encoding="utf-8")
        json.loads(text)
    except (OSError, ValueError):
        return None
    return text


def keep_text(kind: str, key: str, text: str) -> None:
    """Keep a text; a cache that can not be written is none."""
    with contextlib.suppress(UserInputError):
        write_whole(_file(kind, key), text)


def _file(kind: str, key: str) -> Path:
    return CACHE_FOLDER.parent / kind / f"{key}.json"
