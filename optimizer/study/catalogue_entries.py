"""What the catalogue holds, for people: its entries, and each number with range and source.

Sources stand in comments of the catalogue's files, behind a number or before a table, which the
TOML reader drops: they are read from the text.
"""

import dataclasses
import functools
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest
from optimizer.base.reading import read_text
from optimizer.base.toml_io import Table
from optimizer.study.catalogue import (
    BALANCE_VARIANT,
    BOARD,
    CATALOGUE_FOLDER,
    COURSE,
    PROFILE,
    RIDER,
    Kind,
    resolved,
    shelves,
)
from plant.description.board import Board
from plant.description.course import Surface
from plant.description.profile import Profile
from plant.description.quantity import Quantity, declared_numbers, quantities
from plant.description.rider import Rider

_SURFACE = Kind(shelf="surfaces")
KINDS: Mapping[str, Kind] = {
    kind.shelf: kind
    for kind in (
        BOARD,
        *BOARD.parts.values(),
        RIDER,
        *RIDER.parts.values(),
        BALANCE_VARIANT,
        COURSE,
        _SURFACE,
        PROFILE,
    )
}
_HEADER = re.compile(r"\[([\w.-]+)\]")
_KEY = re.compile(r"([\w.-]+)\s*=")
_QUOTED = re.compile(r'"[^"]*"')


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A value of an entry.

    Attributes
    ----------
    key : str
        With dots, as a study file writes it.
    value : Any
    declared : Quantity or None
        Its meaning and range, where it is a declared number.
    source : str
        The comment behind it; empty where there is none.
    """

    key: str
    value: Any
    declared: Quantity | None
    source: str


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Text:
    """The comments of a table: of the whole, and behind or before its keys."""

    notes: list[str] = dataclasses.field(default_factory=list)
    sources: dict[str, str] = dataclasses.field(default_factory=dict)


def kind_of(name: str) -> Kind:
    """Return the kind of entries of a name, such as "motors".

    Raises
    ------
    UserInputError
        There is none.
    """
    if name not in KINDS:
        raise UserInputError(
            f"catalogue: there is no {name!r}; the nearest is {nearest(name, KINDS)!r}, and the"
            f" kinds are {', '.join(KINDS)}"
        )
    return KINDS[name]


def numbers_of_entry(kind: Kind, name: str) -> list[Number]:
    """Return every value of an entry, with what it uses filled in.

    Raises
    ------
    UserInputError
        The catalogue has no such entry.
    """
    table = resolved(name, kind, path=CATALOGUE_FOLDER, key=kind.shelf)
    sources = _sources_of(kind, name)
    declared = {} if kind is BALANCE_VARIANT else _declared()  # it holds ratios of numbers
    return [
        Number(
            key=key,
            value=value,
            declared=declared.get(key.rpartition(".")[2]),
            source=sources.get(key, ""),
        )
        for key, value in _flat(table)
    ]


def remark(kind: Kind, name: str) -> str:
    """Return in a few words what an entry is: its title, or what it is made of."""
    entry: Table = shelves()[kind.shelf][name]
    if "title" in entry:
        return str(entry["title"])
    if kind is BALANCE_VARIANT:
        return ", ".join(f"{name} x {ratio:g}" for name, ratio in entry.items())
    words = [f"changes {entry['use']}"] if "use" in entry else []
    words += [f"{key} {entry[key]}" for key in kind.parts if isinstance(entry.get(key), str)]
    return ", ".join(words)


def notes(kind: Kind, name: str) -> list[str]:
    """Return the lines of comment that hold for an entry as a whole."""
    return list(_texts().get(f"{kind.shelf}.{name}", _Text()).notes)


def _sources_of(kind: Kind, name: str) -> dict[str, str]:
    """Return the comment of each key of an entry, also from what it uses."""
    entry = shelves()[kind.shelf][name]
    found: dict[str, str] = {}
    if isinstance(entry, dict):
        if isinstance(entry.get("use"), str):
            found |= _sources_of(kind, entry["use"])
        for key, part in kind.parts.items():
            value = entry.get(key)
            used = value.get("use") if isinstance(value, dict) else value
            if part.shelf and isinstance(used, str):
                found |= {f"{key}.{inner}": text for inner, text in _sources_of(part, used).items()}
    place = f"{kind.shelf}.{name}"
    for header, text_of in _texts().items():
        if header == place or header.startswith(f"{place}."):
            inside = header.removeprefix(place).lstrip(".")
            for key, text in text_of.sources.items():
                found[f"{inside}.{key}" if inside else key] = text
    return found


@functools.cache
def _texts() -> Mapping[str, _Text]:
    """Return the comments of each table of the catalogue."""
    found: dict[str, _Text] = {}
    for path in sorted(CATALOGUE_FOLDER.glob("*.toml")):
        found |= _texts_of(path)
    return found


def _texts_of(path: Path) -> dict[str, _Text]:
    """Return the texts of a file's tables.

    A block of comment holds for the tables after it until the next one. Right before a table, or
    in it before its first key, it holds for that table alone, and between keys for the next key.
    """
    found: dict[str, _Text] = {}
    section: list[str] = []
    block: list[str] = []
    here = _Text()
    for line in map(str.strip, read_text(path).splitlines()):
        if line.startswith("#"):
            block.append(line.lstrip("#").strip())
            continue
        if header := _HEADER.match(line):
            here = found[header.group(1)] = _Text(notes=[*section, *block])
        elif key := _KEY.match(line):
            if block and not here.sources:
                here.notes[:] = block
                block = []
            here.sources[key.group(1)] = " ".join([*block, _behind(line)]).strip()
        elif block:
            section = block
        block = []
    return found


def _behind(line: str) -> str:
    """Return the comment behind a value, if any."""
    hidden = _QUOTED.sub(lambda quoted: "x" * len(quoted.group()), line)
    place = hidden.find("#")
    return line[place + 1 :].strip() if place >= 0 else ""


def _flat(table: Table, *, inside: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, inside=f"{inside}{key}.")
        else:
            yield f"{inside}{key}", value


def _declared() -> dict[str, Quantity]:
    found = {
        name: declared
        for whole in (Board, Rider, Profile)
        for name, (_, declared) in declared_numbers(whole).items()
    }
    return found | {declared.name: declared for declared in quantities(Surface)}
