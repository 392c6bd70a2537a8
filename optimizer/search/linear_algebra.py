"""Products, distances and solves of matrices, with the same bits on every processor.

A linear algebra library sums in an order that fits the processor, so its last bits differ between
processors, and sometimes with the number of rows. Here each number is summed in the order of its
index. Two rows and four terms at a time are nearly as fast as the library: matrices are padded with
zeros, which change no sum, until they have whole blocks.
"""

import numpy as np

from plant.arrays import Floats, Indices
from plant.compile import kernel, scalar

_BLOCK = 4  # terms of a sum taken together; rows go by twos
_VECTOR = 8  # numbers that the widest processors take at a time, where they begin evenly
_TERMS = 16  # rows of terms that stay in the fastest cache
_PANEL = 16  # rows of a factor that are finished before the others are updated
_LEAST_PIVOT = 1e-12  # of the largest entry on the diagonal
_LEAST_SPAN = 1e-10  # of the largest entry


def product(one: Floats, other: Floats) -> Floats:
    """Return the matrix product, (row, column), of (row, term) and (term, column).

    Matrices in whole vectors, as of `zeros`, are not copied, and may have terms of zeros more.
    """
    n_rows, n_columns = len(one), other.shape[1]
    left, right = _whole(one), _whole(other)
    summed = zeros(len(left), right.shape[1])
    _add_product(summed, left, right)
    return summed[:n_rows, :n_columns]


def add_squared_distances(squared: Floats, one: Floats, other: Floats) -> None:
    """Add the squared distances of points, by parameter, to the first rows and columns of zeros.

    Parameters
    ----------
    squared : (row, column) float64
        Of `zeros`, at least as many as there are points and others. What else is in their last
        vectors changes too.
    one : (point, parameter) float64
    other : (other point, parameter) float64
    """
    n_parameters = -(-one.shape[1] // _BLOCK) * _BLOCK
    _add_squares(squared[: len(one)], padded(one)[:, :n_parameters], padded(other.T))


def zeros(n_rows: int, n_columns: int) -> Floats:
    """Return zeros in whole vectors, as many rows and columns at least."""
    whole = _empty(n_rows, n_columns)
    whole[:] = 0.0
    return whole


def padded(matrix: Floats) -> Floats:
    """Return a copy in whole vectors, with zeros after its last row and column."""
    n_rows, n_columns = matrix.shape
    whole = _empty(n_rows, n_columns)
    whole[:n_rows, :n_columns] = matrix
    whole[n_rows:] = 0.0
    whole[:n_rows, n_columns:] = 0.0
    return whole


def column_squares(matrix: Floats) -> Floats:
    """Return the sum of the squares of each column, (column,)."""
    total = np.zeros(matrix.shape[1])
    _add_column_squares(matrix, total)
    return total


class Factor:
    """A symmetric positive definite matrix as a product of a triangle and its transpose.

    A row that those before it nearly make up takes no part: its entries of a solution are 0.

    Parameters
    ----------
    matrix : (row, row) float64
        Of which the part on and above the diagonal is read.
    """

    def __init__(self, matrix: Floats) -> None:
        self._n_rows = len(matrix)
        self._upper = padded(matrix)
        np.fill_diagonal(self._upper[self._n_rows :, self._n_rows :], 1.0)
        self._inverse = np.zeros(len(self._upper))
        least = _LEAST_PIVOT * np.abs(np.diag(matrix)).max(initial=0.0)
        _factorise(self._upper, self._inverse, least)

    def half_solve(self, right: Floats) -> None:
        """Replace right sides in whole vectors by the solution of U^T x = right.

        The matrix is U^T U.
        """
        _forward(self._upper, self._inverse, right)

    def half_solved(self, right: Floats) -> Floats:
        """Return the solution of U^T x = right, (row, column), where the matrix is U^T U."""
        x = padded(right)
        self.half_solve(x)
        return x[: self._n_rows, : right.shape[1]]

    def solved(self, right: Floats) -> Floats:
        """Return the solution of matrix x = right, (row, column)."""
        x = padded(right)
        _forward(self._upper, self._inverse, x)
        _backward(self._upper, self._inverse, x)
        return x[: self._n_rows, : right.shape[1]]


def spanning(rows: Floats) -> tuple[Indices, Floats] | None:
    """Return as many rows as there are columns, far from each other, and their inverse.

    Parameters
    ----------
    rows : (row, column) float64

    Returns
    -------
    places : (column,) int
    inverse : (column, column) float64
        Of the matrix of these rows. Instead of both None where the rows span no such space.
    """
    n_rows, n_columns = rows.shape
    if n_rows < n_columns:
        return None
    places = np.zeros(n_columns, dtype=np.int64)
    least = _LEAST_SPAN * np.abs(rows).max(initial=0.0)
    if not _eliminate(rows.T.copy(), places, least):
        return None
    chosen = np.hstack([rows[places], np.eye(n_columns)])
    _invert(chosen)
    return places.astype(np.intp), chosen[:, n_columns:].copy()


def _up(number: int) -> int:
    return -(-number // _VECTOR) * _VECTOR


def _empty(n_rows: int, n_columns: int) -> Floats:
    """Return room for whole vectors, of which each row begins where a vector does."""
    shape = _up(n_rows), _up(n_columns)
    n_numbers = shape[0] * shape[1]
    room = np.empty(n_numbers + _VECTOR)
    begin = -(room.ctypes.data // room.itemsize) % _VECTOR
    return room[begin : begin + n_numbers].reshape(shape)


def _whole(matrix: Floats) -> Floats:
    """Return a matrix in whole vectors, itself if it has them."""
    n_rows, n_columns = matrix.shape
    is_whole = (n_rows, n_columns) == (_up(n_rows), _up(n_columns))
    return matrix if is_whole and matrix.flags.c_contiguous else padded(matrix)


@scalar
def _add_four(
    whole: Floats, row: int, terms: Floats, term: int, by: tuple[float, ...], first: int
) -> None:
    """Add four rows of terms to two rows of a matrix, each times its factor, from a column on."""
    # Cut here, places begin at 0: a compiler that can not rule out negative ones takes one a time.
    one, other = whole[row][first:], whole[row + 1][first:]
    a, b = terms[term][first:], terms[term + 1][first:]
    c, d = terms[term + 2][first:], terms[term + 3][first:]
    for j in range(one.shape[0]):
        x = one[j] + by[0] * a[j]
        x = x + by[1] * b[j]
        x = x + by[2] * c[j]
        one[j] = x + by[3] * d[j]
        y = other[j] + by[4] * a[j]
        y = y + by[5] * b[j]
        y = y + by[6] * c[j]
        other[j] = y + by[7] * d[j]


@kernel
def _add_product(whole: Floats, left: Floats, right: Floats) -> None:
    n_terms = left.shape[1]
    for start in range(0, n_terms, _TERMS):
        for block in range(0, left.shape[0], _BLOCK):
            for t in range(start, min(start + _TERMS, n_terms), _BLOCK):
                for i in (block, block + 2):
                    x, y = left[i], left[i + 1]
                    by = (x[t], x[t + 1], x[t + 2], x[t + 3], y[t], y[t + 1], y[t + 2], y[t + 3])
                    _add_four(whole, i, right, t, by, 0)


@kernel
def _add_squares(squared: Floats, left: Floats, right: Floats) -> None:
    for i in range(squared.shape[0]):
        row = squared[i]
        for t in range(0, left.shape[1], _BLOCK):
            w, x, y, z = left[i, t], left[i, t + 1], left[i, t + 2], left[i, t + 3]
            a, b, c, d = right[t], right[t + 1], right[t + 2], right[t + 3]
            for j in range(right.shape[1]):
                total = row[j] + (w - a[j]) * (w - a[j])
                total = total + (x - b[j]) * (x - b[j])
                total = total + (y - c[j]) * (y - c[j])
                row[j] = total + (z - d[j]) * (z - d[j])


@kernel
def _add_column_squares(matrix: Floats, total: Floats) -> None:
    for i in range(matrix.shape[0]):
        row = matrix[i]
        for j in range(total.shape[0]):
            square = row[j] * row[j]
            total[j] = total[j] + square


@kernel
def _factorise(upper: Floats, inverse: Floats, least: float) -> None:
    """Replace a matrix by U of U^T U (Cholesky), panel by panel, and give the inverse diagonal."""
    n = upper.shape[0]
    for start in range(0, n, _PANEL):
        stop = min(start + _PANEL, n)
        for k in range(start, stop):
            row = upper[k]
            for p in range(start, k):
                factor, before = upper[p, k], upper[p]
                for j in range(k, n):
                    row[j] = row[j] - factor * before[j]
            inverse[k] = 1.0 / np.sqrt(row[k]) if row[k] > least else 0.0
            for j in range(k, n):
                row[j] = row[j] * inverse[k]
        for i in range(stop, n, _BLOCK):
            for p in range(start, stop, _BLOCK):
                # From a whole vector on: what is below the diagonal is not read.
                first = i - i % _VECTOR
                _add_four(upper, i, upper, p, _taken_from(upper, p, i), first)
                _add_four(upper, i + 2, upper, p, _taken_from(upper, p, i + 2), first)


@scalar
def _taken_from(upper: Floats, term: int, row: int) -> tuple[float, ...]:
    """Return the factors by which four rows of a triangle are taken from two rows below."""
    a, b, c, d = upper[term], upper[term + 1], upper[term + 2], upper[term + 3]
    n = row + 1
    return -a[row], -b[row], -c[row], -d[row], -a[n], -b[n], -c[n], -d[n]


@kernel
def _forward(upper: Floats, inverse: Floats, x: Floats) -> None:
    """Replace right sides by the solution of U^T x = right."""
    for i in range(0, x.shape[0], _BLOCK):
        for p in range(0, i, _BLOCK):
            _add_four(x, i, x, p, _taken_from(upper, p, i), 0)
            _add_four(x, i + 2, x, p, _taken_from(upper, p, i + 2), 0)
        for k in range(i, i + _BLOCK):
            row = x[k]
            for p in range(i, k):
                factor, before = upper[p, k], x[p]
                for j in range(x.shape[1]):
                    row[j] = row[j] - factor * before[j]
            for j in range(x.shape[1]):
                row[j] = row[j] * inverse[k]


@kernel
def _backward(upper: Floats, inverse: Floats, x: Floats) -> None:
    """Replace right sides by the solution of U x = right."""
    n = x.shape[0]
    for i in range(n - _BLOCK, -1, -_BLOCK):
        for p in range(i + _BLOCK, n, _BLOCK):
            for k in (i, i + 2):
                u, v = upper[k], upper[k + 1]
                by = (-u[p], -u[p + 1], -u[p + 2], -u[p + 3])
                under = (-v[p], -v[p + 1], -v[p + 2], -v[p + 3])
                _add_four(x, k, x, p, by + under, 0)
        for k in range(i + _BLOCK - 1, i - 1, -1):
            row = x[k]
            for p in range(k + 1, i + _BLOCK):
                factor, after = upper[k, p], x[p]
                for j in range(x.shape[1]):
                    row[j] = row[j] - factor * after[j]
            for j in range(x.shape[1]):
                row[j] = row[j] * inverse[k]


@kernel
def _eliminate(columns: Floats, places: Indices, least: float) -> bool:
    """Find the rows on which Gaussian elimination pivots; False where one pivot is too small."""
    n_columns, n_rows = columns.shape
    for k in range(n_columns):
        best = 0
        for i in range(1, n_rows):
            if abs(columns[k, i]) > abs(columns[k, best]):
                best = i
        if not abs(columns[k, best]) > least:
            return False
        places[k] = best
        for other in range(k + 1, n_columns):
            factor = columns[other, best] / columns[k, best]
            for i in range(n_rows):
                columns[other, i] = columns[other, i] - factor * columns[k, i]
            columns[other, best] = 0.0
        columns[:, best] = 0.0
    return True


@kernel
def _invert(pairs: Floats) -> None:
    """Turn a matrix beside the unit matrix into the unit matrix beside its inverse."""
    n = pairs.shape[0]
    for k in range(n):
        best = k
        for i in range(k + 1, n):
            if abs(pairs[i, k]) > abs(pairs[best, k]):
                best = i
        for j in range(pairs.shape[1]):
            kept = pairs[k, j]
            pairs[k, j] = pairs[best, j]
            pairs[best, j] = kept
        inverse = 1.0 / pairs[k, k]
        for j in range(pairs.shape[1]):
            pairs[k, j] = pairs[k, j] * inverse
        for i in range(n):
            if i != k:
                factor = pairs[i, k]
                for j in range(pairs.shape[1]):
                    pairs[i, j] = pairs[i, j] - factor * pairs[k, j]
