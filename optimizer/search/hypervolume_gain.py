"""Which children add most hypervolume to a front, each beside those chosen before it.

Chosen one by one, such a set adds at least 63 % of what the best set of its size would (Nemhauser,
Wolsey and Fisher 1978, Mathematical Programming 14: 265-294). What a child adds only shrinks as
others are chosen, so most need not be asked again (Minoux 1978, Lecture Notes in Control and
Information Sciences 7: 234-243).
"""

import numpy as np

from plant.arrays import Floats, Indices
from plant.compile import kernel, scalar

_REFERENCE = 1.2  # of the front's range: its ends may grow, but not at any price
_LEAST_GAIN = 1e-12  # of the front's box: less is rounding
_LEAST_FRONT = 10  # a smaller one has no range


def adding_most(predicted: Floats, front: Floats, *, n_chosen: int) -> Indices:
    """Return the children that add most to a front, the first chosen first.

    Parameters
    ----------
    predicted : (child, objective) float64
        Of children that are predicted to meet every constraint.
    front : (point, objective) float64
        Of what was ridden.
    n_chosen : int
        At most so many.

    Returns
    -------
    (child,) int
        Fewer where no other adds anything, or where the front is small.
    """
    chosen: list[int] = []
    if len(front) < _LEAST_FRONT or not len(predicted):
        return np.array(chosen, dtype=np.intp)
    low, reach = front.min(axis=0), np.ptp(front, axis=0)
    scale = np.where(reach > 0.0, reach, 1.0)
    known, children = (_of_three((points - low) / scale) for points in (front, predicted))
    known = known[np.argsort(known[:, 2], kind="stable")]
    added = volumes_added(children, known)
    asked_for = np.zeros(len(children), dtype=np.intp)  # how many were chosen when it was asked
    while len(chosen) < n_chosen:
        best = int(np.argmax(added))
        if not added[best] > _LEAST_GAIN:
            break
        if asked_for[best] < len(chosen):
            added[best] = volumes_added(children[best : best + 1], known)[0]
            asked_for[best] = len(chosen)
            continue
        chosen.append(best)
        place = np.searchsorted(known[:, 2], children[best, 2], side="right")
        known = np.insert(known, place, children[best], axis=0)
        added[best] = 0.0
    return np.array(chosen, dtype=np.intp)


def _of_three(points: Floats) -> Floats:
    """Return points of two or three objectives as such of three, of which the last may be 0."""
    return np.column_stack([points, np.zeros((len(points), 3 - points.shape[1]))])


def volumes_added(children: Floats, known: Floats) -> Floats:
    """Return the volume below the reference that each child adds to known points, (child,).

    Parameters
    ----------
    children : (child, 3) float64
    known : (point, 3) float64
        Rising in the third objective.
    """
    added = np.empty(len(children))
    _volumes_added(np.ascontiguousarray(children), np.ascontiguousarray(known), added)
    return added


@kernel
def _volumes_added(children: Floats, known: Floats, added: Floats) -> None:
    xs, ys = np.empty(len(known)), np.empty(len(known))
    for k in range(len(children)):
        added[k] = _volume_added(children[k], known, xs, ys)


@scalar
def _volume_added(child: Floats, known: Floats, xs: Floats, ys: Floats) -> float:
    """Return the child's box up to the reference less what known points dominate of it.

    A plane sweeps the box along the third objective. In it those passed make a staircase, `xs`
    rising and `ys` falling, whose area is kept up to date.
    """
    end = _REFERENCE
    wide, high, deep = end - child[0], end - child[1], end - child[2]
    if min(wide, high, deep) <= 0.0:
        return 0.0
    n, area, covered, z = 0, 0.0, 0.0, child[2]
    for k in range(len(known)):
        x, y = max(known[k, 0], child[0]), max(known[k, 1], child[1])
        if known[k, 2] >= end:
            break
        if x >= end or y >= end:
            continue
        first = 0
        while first < n and xs[first] < x:
            first += 1
        above = ys[first - 1] if first > 0 else end
        if above <= y or (first < n and xs[first] == x and ys[first] <= y):
            continue
        at = max(known[k, 2], child[2])
        covered += area * (at - z)
        z = at
        last, left = first, x
        while last < n and ys[last] >= y:
            area += (xs[last] - left) * (above - y)
            left, above = xs[last], ys[last]
            last += 1
        area += ((xs[last] if last < n else end) - left) * (above - y)
        _shift(xs, n, last, first + 1)
        _shift(ys, n, last, first + 1)
        n += first + 1 - last
        xs[first], ys[first] = x, y
        if first == 0 and n == 1 and x == child[0] and y == child[1]:
            break  # all that is left is dominated
    left_over: float = wide * high * deep - covered - area * (end - z)
    return left_over


@scalar
def _shift(row: Floats, n: int, first: int, to: int) -> None:
    """Move the numbers from place `first` to before `n` to another place."""
    if to > first:
        for k in range(n - 1, first - 1, -1):
            row[k + to - first] = row[k]
    else:
        for k in range(first, n):
            row[k + to - first] = row[k]
