"""The whole CUDA C++ program that rides lanes: where each row stands, the functions, the launch.

One thread rides one lane. A row that the functions write is a number of the thread, kept in
registers (or, by choice, in shared memory); a row that they only read is a constant of the ride or
of the profile, in memory that neighbouring threads read together; rows found by a reckoned place,
such as a ring, are in memory, one slot of all lanes after the other; a table that is only read
there stands among the constants of the ride.
"""

import dataclasses
from collections import Counter
from collections.abc import Collection, Iterator, Sequence

from plant.cuda.source import Choices, Source
from plant.cuda.translate import translate
from plant.cuda.values import TILE, Table, TranslationError, reals

ENTRY = "ride_lanes"
# Contraction off: what is fused stands in the text.
OPTIONS = ("--std=c++17", "-fmad=false")

_HEAD = f"""
typedef unsigned long long word;
typedef unsigned int half_word;
#define TILE {TILE}
#define INLINED __device__ __forceinline__
INLINED double square(double x) {{ return x * x; }}
INLINED int whole_quotient(int a, int b) {{
  int quotient = a / b;
  return quotient - (a % b != 0 && (a < 0) != (b < 0));
}}
INLINED int whole_remainder(int a, int b) {{ return a - b * whole_quotient(a, b); }}
"""


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """A program, and what its launch must give it.

    Attributes
    ----------
    text : str
        The source, with the kernel `ENTRY`.
    choices : Choices
        What was chosen for speed.
    shared_bytes : int
        Shared memory that a block is launched with.
    written_rows : tuple of str
        Rows that change during a ride; those of the ring are not among them.
    ride_numbers : list of int
        Rows of a ride at its start, in the order in which the program reads them.
    profile_numbers : list of int
        Rows of a profile, likewise.
    end_rows : tuple of str
        Rows that it gives back of each lane at its end, in this order.
    n_ring : int
        Slots in memory for each lane.
    tables : tuple of str
        Names of the tables that a ride reads.
    """

    text: str
    choices: Choices
    shared_bytes: int
    written_rows: tuple[str, ...]
    ride_numbers: list[int]
    profile_numbers: list[int]
    end_rows: tuple[str, ...]
    n_ring: int
    tables: tuple[str, ...]


class _Rows:
    """Writes each row as a macro of its name, and remembers which are read and written."""

    def __init__(self, source: Source) -> None:
        self._names = source.rows
        self._ring = source.ring
        self._looked_up = source.looked_up
        self.uses: Counter[str] = Counter()
        self.written: set[str] = set()

    def at(self, row: int, *, writes: bool) -> str:
        in_memory = row in self._ring or row in self._looked_up
        if not 0 <= row < len(self._names) or in_memory:
            raise TranslationError(f"row {row} is none that stands by itself")
        name = self._names[row]
        self.uses[name] += 1
        if writes:
            self.written.add(name)
        return f"ROW_{name}"

    def among(self, first: int, place: str, *, writes: bool) -> str:
        if first in self._looked_up and not writes:
            return f"LOOKED_UP({first - self._looked_up.start} + {place})"
        if first != self._ring.start:
            raise TranslationError(f"a place reckoned from row {first}, where no ring begins")
        return f"b.ring[({place}) * TILE]"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Places:
    """The rows that a translation reads and writes, by where they stand; tables by name."""

    of_ride: tuple[str, ...]  # read alone
    of_profile: tuple[str, ...]
    in_registers: tuple[str, ...]
    shared: tuple[str, ...]
    ring: tuple[str, ...]
    looked_up: tuple[str, ...]
    tables: tuple[Table, ...]

    @property
    def ride_rows(self) -> tuple[str, ...]:
        return self.of_ride + self.in_registers + self.shared + self.ring + self.looked_up


def program(source: Source, end_rows: Sequence[str], choices: Choices) -> Program:
    """Return the program of a kernel that gives back some rows of each lane.

    Parameters
    ----------
    source : Source
    end_rows : sequence of str
        Rows to give back; each must be one that the kernel writes.
    choices : Choices

    Raises
    ------
    TranslationError
        The kernel holds what is not translated, writes a row of the profile, or does not write a
        row that is asked for.
    """
    rows = _Rows(source)
    translation = translate(source.entry, source.arguments, rows, source.names)
    if unwritten := set(end_rows) - rows.written:
        raise TranslationError(f"never written: {', '.join(sorted(unwritten))}")
    if fixed := rows.written & source.profile_rows:
        raise TranslationError(f"of the profile, and written: {', '.join(sorted(fixed))}")
    in_shared = {name for name in source.kept_rows if rows.uses[name] <= choices.shared_uses}
    read = set(rows.uses)
    places = _Places(
        of_ride=_in_order(source, read - rows.written - source.profile_rows),
        of_profile=_in_order(source, read & source.profile_rows),
        in_registers=_in_order(source, rows.written - in_shared),
        shared=_in_order(source, rows.written & in_shared),
        ring=tuple(source.rows[row] for row in source.ring),
        looked_up=tuple(source.rows[row] for row in source.looked_up),
        tables=tuple(value for value in source.arguments if isinstance(value, Table)),
    )
    parts = [
        _HEAD,
        f"#define EACH_ROUND {'__syncthreads();' if choices.in_step else ''}",
        *_numbers(translation.text + translation.call, choices),
        *_macros(places, choices),
        _structure(places),
        translation.text,
        _launch(places, end_rows, choices, translation.call),
    ]
    return Program(
        text="\n".join(parts),
        choices=choices,
        shared_bytes=8 * len(places.shared) * choices.block,
        written_rows=places.in_registers + places.shared,
        ride_numbers=[source.rows.index(name) for name in places.ride_rows],
        profile_numbers=[source.rows.index(name) for name in places.of_profile],
        end_rows=tuple(end_rows),
        n_ring=len(source.ring),
        tables=tuple(table.name for table in places.tables),
    )


def _in_order(source: Source, names: Collection[str]) -> tuple[str, ...]:
    return tuple(name for name in source.rows if name in names)


def _numbers(text: str, choices: Choices) -> Iterator[str]:
    """Yield what each real number's name stands for, exact to the last bit.

    An instruction holds 32 bits of a number, its upper half. Nought and one are read from memory
    although they fit: selects against them would become slower ones of the greater or lesser.
    """
    for name, value in reals(text).items():
        in_memory = not name.endswith("0" * 8) or value in {0.0, 1.0}
        if choices.reals_in_memory and in_memory:
            yield f"__constant__ double {name} = {value.hex()};  // {value!r}"
        else:
            yield f"#define {name} ({value.hex()})"


def _macros(places: _Places, choices: Choices) -> Iterator[str]:
    """Yield what each row's name stands for."""
    for place, name in enumerate(places.of_ride):
        yield f"#define ROW_{name} b.ride[{place * choices.ride_tile}]"
    for place, name in enumerate(places.of_profile):
        yield f"#define ROW_{name} b.profile[{place} * TILE]"
    for name in places.in_registers:
        yield f"#define ROW_{name} b.{name}"
    for place, name in enumerate(places.shared):
        yield f"#define ROW_{name} b.shared[{place * choices.block}]"
    first = len(places.ride_rows) - len(places.looked_up)
    yield f"#define LOOKED_UP(place) b.ride[({first} + (place)) * {choices.ride_tile}]"


def _structure(places: _Places) -> str:
    members = [f"double {name};" for name in places.in_registers]
    members += [
        "const double *ride;",
        "const double *profile;",
        "volatile double *shared;",
        "double *ring;",
    ]
    for table in places.tables:
        members += [f"const double *{table.name};", f"int {table.name}_rows;"]
    return "\n".join(["struct Lane {", *(f"  {member}" for member in members), "};"])


def _launch(places: _Places, end_rows: Sequence[str], choices: Choices, call: str) -> str:
    """Return the kernel: it sets a lane up, rides it, and gives its last rows back."""
    parameters = [
        "int n_lanes",
        "int n_rides",
        "const int *ride_of",
        "const int *profile_of",
        "const double *rides",
        "const double *profiles",
        "const int *n_steps_of",
    ]
    for table in places.tables:
        parameters += [f"const double *const *{table.name}_of", f"const int *{table.name}_rows_of"]
    parameters += ["double *rings", "double *ends"]
    lines = [
        "const int lane = blockIdx.x * blockDim.x + threadIdx.x;",
        "if (lane >= n_lanes) return;",
        "const int ride = ride_of[lane], profile = profile_of[lane], n_steps = n_steps_of[ride];",
        "Lane b;",
        _tile("b.ride", "rides", "ride", (len(places.ride_rows), choices.ride_tile)),
        _tile("b.profile", "profiles", "profile", (len(places.of_profile), TILE)),
        _tile("b.ring", "rings", "lane", (len(places.ring), TILE)),
    ]
    if places.shared:
        lines.append("extern __shared__ volatile double shared[];")
        lines.append("b.shared = shared + threadIdx.x;")
    for table in places.tables:
        lines.append(f"b.{table.name} = {table.name}_of[ride];")
        lines.append(f"b.{table.name}_rows = {table.name}_rows_of[ride];")
    first = len(places.of_ride)
    for place, name in enumerate(places.in_registers + places.shared, first):
        lines.append(f"ROW_{name} = b.ride[{place * choices.ride_tile}];")
    first += len(places.in_registers + places.shared)
    lines.append(f"for (int slot = 0; slot < {len(places.ring)}; ++slot)")
    lines.append(f"  b.ring[slot * TILE] = b.ride[({first} + slot) * {choices.ride_tile}];")
    lines.append(f"{call};")
    lines.append("const size_t of_lane = size_t(profile) * n_rides + ride;")
    for place, name in enumerate(end_rows):
        lines.append(f"ends[{place} * size_t(n_lanes) + of_lane] = ROW_{name};")
    bounds = f"__launch_bounds__({choices.block}, {choices.least_blocks})"
    head = f'extern "C" __global__ void {bounds} {ENTRY}({", ".join(parameters)}) {{'
    return "\n".join([head, *(f"  {line}" for line in lines), "}", ""])


def _tile(pointer: str, memory: str, index: str, shape: tuple[int, int]) -> str:
    """Return how one of the neighbours of a tile, (row, neighbour), finds its first row."""
    n_rows, width = shape
    tile = f"size_t({index} / {width}) * {n_rows * width}"
    return f"{pointer} = {memory} + {tile} + {index} % {width};"
