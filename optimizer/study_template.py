"""A first study file for a new folder."""

from pathlib import Path

from optimizer.catalogue import STUDIES_FOLDER
from optimizer.files import refuse_existing, write_whole
from optimizer.study_file import STUDY_FILE
from optimizer.toml_file import read_text

_TEMPLATE = STUDIES_FOLDER / "template" / STUDY_FILE


def write_template(folder: Path) -> Path:
    """Write a short, commented study file and return its path.

    Parameters
    ----------
    folder : Path
        Made where it is missing.

    Raises
    ------
    UserInputError
        The folder holds a study already, or can not be written.
    """
    path = folder / STUDY_FILE
    refuse_existing([path], advice="edit it, or name a new folder")
    write_whole(path, read_text(_TEMPLATE))
    return path
