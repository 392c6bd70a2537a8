"""The ground on which hard rides lie: a small part of a day, in which looking for more pays."""

from collections.abc import Mapping
from typing import NamedTuple

from plant.description.course import Road

HELD_RATIO = 0.95  # of how hard the hardest pieces are, at least; the rest is left out


class Ground(NamedTuple):
    """The roughest surface under a piece, and whether the wheel climbs a kerb there.

    Attributes
    ----------
    roughness_1e6_m3, rolling_ratio : float
        As of `plant.description.course.Surface`; of equally rough ones the softest.
    kerb : bool
        A step up that is higher than flush.
    """

    roughness_1e6_m3: float
    rolling_ratio: float
    kerb: bool


def ground_of(road: Road, from_m: float, to_m: float, *, flush_m: float) -> Ground:
    """Return the ground of a road between two distances."""
    ends = [patch.from_m for patch in road.patches[1:]] + [float("inf")]
    roughest = max(
        (patch.surface.roughness_1e6_m3, patch.surface.rolling_ratio)
        for patch, end in zip(road.patches, ends, strict=True)
        if patch.from_m <= to_m and end >= from_m
    )
    return Ground(*roughest, kerb=_has_kerb(road, from_m, to_m, flush_m=flush_m))


def may_hold(road: Road, grounds: frozenset[Ground], *, flush_m: float) -> bool:
    """Say whether some part of a road may be of one of these grounds."""
    kerbs = {False, _has_kerb(road, 0.0, float("inf"), flush_m=flush_m)}
    return any(
        Ground(patch.surface.roughness_1e6_m3, patch.surface.rolling_ratio, kerb) in grounds
        for patch in road.patches
        for kerb in kerbs
    )


def _has_kerb(road: Road, from_m: float, to_m: float, *, flush_m: float) -> bool:
    return any(height > flush_m and from_m <= at_m <= to_m for at_m, height in road.kerbs)


def hard_grounds(
    n_on: Mapping[Ground, int], hardness: Mapping[Ground, float]
) -> tuple[frozenset[Ground], float]:
    """Return the grounds that hold nearly all that is hard, and their share of all pieces.

    Where a surface is hard, it is so with a kerb too, and a kerb that is hard on one surface is so
    on all, however few such pieces were ridden.

    Parameters
    ----------
    n_on : mapping of Ground to int
        How many pieces lie on each, at least one.
    hardness : mapping of Ground to float
        How hard the hardest of them are, in sum; grounds without a hard piece may be left out.
    """
    chosen: set[Ground] = set()
    held, wanted = 0.0, HELD_RATIO * sum(hardness.values())
    # The most hardness for its length first.
    for ground in sorted(hardness, key=lambda ground: (-hardness[ground] / n_on[ground], ground)):
        if held >= wanted:
            break
        alike = n_on if ground.kerb else [ground]
        new = {ground, *(each._replace(kerb=True) for each in alike)} - chosen
        chosen |= new
        held += sum(hardness.get(each, 0.0) for each in sorted(new))
    return frozenset(chosen), sum(n_on.get(each, 0) for each in chosen) / sum(n_on.values())
