"""Digests of what a study is made of, and seeds that follow from its one seed by name."""

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from typing import Any

import numpy as np


def digest(value: Any) -> str:
    """Return the SHA-256 of a value of dataclasses, mappings, sequences, arrays, texts and numbers.

    Equal values have equal digests on every machine; numbers count to their last bit.
    """
    return hashlib.sha256(json.dumps(plain(value), sort_keys=True).encode()).hexdigest()


def plain(value: Any) -> Any:
    """Return a value as JSON can write it; numbers read back exactly.

    Dataclasses and mappings become dictionaries, arrays and sequences lists.
    """
    if dataclasses.is_dataclass(value):
        return {
            field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)
        }
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    return value


def spawned(seed: int, *names: str) -> int:
    """Return a seed of 64 bits for a purpose, the same on every machine.

    Parameters
    ----------
    seed : int
        The study's seed.
    names : str
        What the seed is for; the names of other seeds do not change it.
    """
    text = "\x1f".join([str(seed), *names])
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")
