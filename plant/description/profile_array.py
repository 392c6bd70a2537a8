"""A profile as a flat row of numbers and back: the row is what the search and the kernel use."""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from plant.description.profile import Profile
from plant.description.quantity import declared_numbers, numbers_of, quantities

PROFILE_NAMES = tuple(declared_numbers(Profile))


def profile_to_array(profile: Profile) -> NDArray[np.float64]:
    """Return the profile's numbers, (parameter,) float64, in the order of `PROFILE_NAMES`."""
    return np.array(list(numbers_of(profile).values()), dtype=np.float64)


def array_to_profile(values: NDArray[np.float64]) -> Profile:
    """Return the profile of a row of numbers.

    Parameters
    ----------
    values : (parameter,) float64
        In the order of `PROFILE_NAMES`.

    Raises
    ------
    ValueError
        The row has another length, or a number lies outside its range.
    """
    if values.shape != (len(PROFILE_NAMES),):
        raise ValueError(f"a profile has {len(PROFILE_NAMES)} numbers, got shape {values.shape}")
    by_name = dict(zip(PROFILE_NAMES, (float(value) for value in values), strict=True))
    sections = {
        field.name: field.type(**{q.name: by_name[q.name] for q in quantities(field.type)})  # type: ignore[arg-type, operator]
        for field in dataclasses.fields(Profile)
    }
    return Profile(**sections)
