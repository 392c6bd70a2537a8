"""The plant's declared constants by name, so that models beside it can not drift from it.

Only numbers are taken from the plant; every equation beside it is written again.
"""

import importlib
import pathlib
import pkgutil

import plant


def _declared() -> dict[str, float]:
    """Return every number declared in capitals in a plant module, less leading underscores."""
    found: dict[str, float] = {}
    folder = str(pathlib.Path(next(iter(plant.__path__))))
    for module in pkgutil.walk_packages([folder], "plant."):
        for name, value in vars(importlib.import_module(module.name)).items():
            plain = name.lstrip("_")
            if not plain.isupper() or not isinstance(value, int | float):
                continue
            if found.setdefault(plain, value) != value:
                raise ValueError(f"{module.name} declares {plain} with another value")
    return found


_NUMBERS = _declared()


def assumed(name: str) -> float:
    """Return a constant of the plant, wherever it is declared.

    Raises
    ------
    KeyError
        No module of the plant declares it.
    """
    return _NUMBERS[name]
