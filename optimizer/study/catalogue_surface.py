"""A surface of the catalogue, checked, by its name."""

import functools
from pathlib import Path

from optimizer.study.catalogue import CATALOGUE_FOLDER, Kind, resolved
from optimizer.study.dataclass_schema import section_model, section_of
from optimizer.study.schema_errors import checked
from plant.description.course import Surface

ASPHALT = "asphalt"  # hard and smooth: the ground of a steady ride

_SURFACE = Kind(shelf="surfaces")


@functools.cache
def catalogue_surface(
    name: str, *, path: Path = CATALOGUE_FOLDER, key: str = "surfaces"
) -> Surface:
    """Return a surface of the catalogue.

    Parameters
    ----------
    name : str
    path : Path
        The file that names it, for messages.
    key : str
        Where in that file it is named.

    Raises
    ------
    UserInputError
        The catalogue has no such surface.
    """
    table = resolved(name, _SURFACE, path=path, key=key)
    return section_of(Surface, checked(section_model(Surface), table, path=path, key=key))
