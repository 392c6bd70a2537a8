"""One seed in the study; every other seed is spawned from it by name."""

import hashlib


def spawned(seed: int, *names: str) -> int:
    """Return a seed of 32 bits for a purpose, the same on every machine.

    Parameters
    ----------
    seed : int
        The study's seed.
    names : str
        What the seed is for; the names of other seeds do not change it.
    """
    text = "\x1f".join([str(seed), *names])
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:4], "big")
