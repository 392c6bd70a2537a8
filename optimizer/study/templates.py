"""A first study file for a new folder: the template, or a packaged example."""

from pathlib import Path

from optimizer.base.atomic_files import copy_whole, refuse_existing, write_whole
from optimizer.base.errors import UserInputError
from optimizer.base.toml_io import read_text
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.paths import STUDY_FILE

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


def write_example(folder: Path, name: str) -> Path:
    """Copy a packaged example into a folder and return the path of its study file.

    Raises
    ------
    UserInputError
        There is no such example, or the folder holds one of its files already.
    """
    source = STUDIES_FOLDER / name
    if not (source / STUDY_FILE).is_file():
        found = sorted(
            path.parent.name
            for path in STUDIES_FOLDER.glob(f"*/{STUDY_FILE}")
            if path.parent.name != "template"
        )
        raise UserInputError(f"example: there is no {name!r}; there are {', '.join(found)}")
    files = sorted(path for path in source.iterdir() if path.suffix in (".toml", ".gpx", ".csv"))
    copy_whole(files, folder)
    return folder / STUDY_FILE
