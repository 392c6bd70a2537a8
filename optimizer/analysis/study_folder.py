"""A new folder that holds a study and all the files that its study file names."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optimizer.base.atomic_files import make_folder, make_public, writing
from optimizer.base.errors import UserInputError
from optimizer.base.toml_io import Table
from optimizer.base.unfinished import unfinished_folder
from optimizer.study.paths import START_FILE, STUDY_FILE, mapping_beside

_NAMING = ("file", "mapping")  # keys of routes and logs


@contextmanager
def appearing_whole(folder: Path) -> Iterator[Path]:
    """Give a folder to fill, whose content stands in the wanted folder after the block."""
    there = folder.exists()
    make_folder(folder if there else folder.parent)  # refuses a file of that name
    with writing(folder), unfinished_folder(folder / STUDY_FILE if there else folder) as new:
        yield new
        if not there:
            make_public(new)
            new.replace(folder)
            return
        # Without its study file a folder is no study, so that comes last.
        for entry in sorted(new.iterdir(), key=lambda path: path.name == STUDY_FILE):
            entry.replace(folder / entry.name)


def files_along(written: Table, old: Path, new: Path) -> list[Path]:
    """Return the files that go along into a new folder, by their paths inside the old one.

    They are the routes and logs that a study's file names, and the mappings beside them. A file
    that is named by its whole path, or as well from the new folder, stays where it is.

    Parameters
    ----------
    written : Table
        The study's file.
    old, new : Path
        Folder of the study, and the new one.

    Raises
    ------
    UserInputError
        A path leads out of the study's folder, by ".." to another file than from the new folder,
        or over a link.
    """
    return [path for path in sorted(set(_named_files(written))) if _goes_along(path, old, new)]


def _named_files(written: Table) -> Iterator[Path]:
    """Yield the paths that a study's file names, and the mappings that may lie beside them."""
    for key, value in written.items():
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, dict):
                yield from _named_files(one)
        if key in _NAMING and isinstance(value, str):
            yield from (Path(value), mapping_beside(Path(value)))


def _goes_along(path: Path, old: Path, new: Path) -> bool:
    """Say whether a named file is copied into the new folder; refuse what lies elsewhere.

    Raises
    ------
    UserInputError
        The path leads out of the study's folder, by ".." to another file than from the new folder,
        or over a link.
    """
    place = old / path
    if path.is_absolute() or not place.exists():
        return False
    if ".." in path.parts:
        if place.resolve() == (new / path).resolve():
            return False
        raise UserInputError(
            f"{old / STUDY_FILE}: names {path.as_posix()!r}, which seen from {new} is another file"
            " or none; put the file beside study.toml, or name it by its whole path"
        )
    if not place.resolve().is_relative_to(old.resolve()):
        raise UserInputError(
            f"{place}: is a link out of the study's folder, and is not copied; put the file itself"
            " there, or name it in study.toml by its whole path"
        )
    return place.is_file()


def start_name(written: Table, folder: Path) -> str:
    """Return the name of the file of profiles to start from, whether it is there or not.

    Raises
    ------
    UserInputError
        It does not lie beside the study file.
    """
    name = str(written.get("search", {}).get("start", START_FILE))
    if Path(name).name != name:
        raise UserInputError(
            f"{folder / STUDY_FILE}: search.start: must name a file beside the study to be copied,"
            f" got {name!r}; take it out of the new study, or move that file"
        )
    return name
