"""The plant keeps to the numbers written out beside it."""

import importlib
import pathlib
import pkgutil

import plant
from plant.constants import DEG_PER_RAD
from tests.reference import constants


def declared():
    """Return every number declared in capitals in a plant module, less leading underscores."""
    found = {}
    folder = str(pathlib.Path(next(iter(plant.__path__))))
    for module in pkgutil.walk_packages([folder], "plant."):
        for name, value in vars(importlib.import_module(module.name)).items():
            if name.isupper() and isinstance(value, int | float):
                found.setdefault(name.lstrip("_"), set()).add(value)
    return found


def written():
    return {name: value for name, value in vars(constants).items() if name.isupper()}


def test_every_number_written_out_is_the_one_that_the_plant_declares():
    plants = declared()

    assert {name: plants.get(name) for name in written()} == {
        name: {value} for name, value in written().items()
    }


def test_every_assumed_number_of_the_physics_is_written_out():
    folder = pathlib.Path(plant.__file__).parent
    names = [
        line.split(" = ")[0].lstrip("_")
        for source in [folder / "constants.py", *sorted((folder / "physics").glob("*.py"))]
        for line in source.read_text().splitlines()
        if "# assumed" in line and " = " in line and line.lstrip("_")[:1].isupper()
    ]

    assert len(names) > 30
    assert set(names) - set(written()) == set()


def test_angles_are_those_of_their_source():
    # ISO 80000-3: a turn is 360 degrees or 2 pi radians.
    assert DEG_PER_RAD == 180.0 / 3.141592653589793
