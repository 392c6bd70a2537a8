"""The catalogue: named boards, riders, surfaces, courses and profiles, and how a file uses them.

A table with `use = "NAME"` starts from the entry of that name and changes what else it holds; a
name in quotes where a table is due stands for the whole entry.
"""

import dataclasses
import functools
import re
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest, place, shown
from optimizer.base.toml_io import Table, read_toml

_NAME = re.compile(r"[A-Za-z0-9_-]+")

STUDIES_FOLDER = Path(str(files("optimizer"))).parent / "studies"
CATALOGUE_FOLDER = STUDIES_FOLDER / "catalogue"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of table that the catalogue can name.

    Attributes
    ----------
    shelf : str
        Table of the catalogue that holds the entries; empty for a kind without entries of its
        own.
    parts : mapping of key to Kind
        Keys that hold tables, or lists of tables, of other kinds.
    """

    shelf: str = ""
    parts: Mapping[str, "Kind"] = dataclasses.field(default_factory=dict)


PROFILE = Kind(shelf="profiles")
RIDER = Kind(shelf="riders", parts={"skill": Kind(shelf="skills")})
BOARD = Kind(
    shelf="boards",
    parts={
        "motor": Kind(shelf="motors"),
        "drive": Kind(shelf="drives"),
        "battery": Kind(shelf="batteries"),
        "wheel": Kind(shelf="wheels"),
        "frame": Kind(shelf="frames"),
        "sensors": Kind(shelf="sensors"),
    },
)
_PATCH = Kind(parts={"surface": Kind(shelf="surfaces")})
BALANCE_VARIANT = Kind(shelf="balance_variants")
COURSE = Kind(shelf="courses", parts={"road": Kind(parts={"patches": _PATCH})})


@functools.cache
def shelves(folder: Path = CATALOGUE_FOLDER) -> Mapping[str, Table]:
    """Return the entries of every shelf in a folder's TOML files.

    Raises
    ------
    UserInputError
        A file can not be read, or two files hold a shelf of the same name.
    """
    found: dict[str, Table] = {}
    for path in sorted(folder.glob("*.toml")):
        for name, entries in read_toml(path).items():
            if name in found:
                raise UserInputError(f"{path}: {name}: stands in another file too; join them")
            found[name] = entries
    if not found:
        raise UserInputError(f"{folder}: holds no catalogue; install levelgain again")
    return found


def entry_names(kind: Kind) -> tuple[str, ...]:
    """Return the names that the catalogue has of a kind, in its order."""
    return tuple(shelves()[kind.shelf])


def resolved(value: Any, kind: Kind, *, path: Path, key: str) -> Any:
    """Return a table with every name of the catalogue in it replaced by the entry.

    Parameters
    ----------
    value : Any
        What stands in the file: a name, a table or a list of tables; anything else is returned as
        it is, for the table's model to refuse.
    kind : Kind
    path : Path
        The file, for messages.
    key : str
        Where in the file the value stands.

    Raises
    ------
    UserInputError
        The catalogue has no entry of a name.
    """
    if isinstance(value, str) and kind.shelf:
        value = {"use": value}
    if isinstance(value, list):
        return [
            resolved(item, kind, path=path, key=place(key, index))
            for index, item in enumerate(value)
        ]
    if not isinstance(value, dict):
        return value
    own = {
        name: resolved(item, kind.parts[name], path=path, key=place(key, name))
        if name in kind.parts
        else item
        for name, item in value.items()
    }
    if "use" not in own or not kind.shelf:
        return own
    known = _entry(own.pop("use"), kind, path=path, key=place(key, "use"))
    base = resolved(known, kind, path=path, key=key)
    return changed(base, own)


def used_name(written: Any) -> str:
    """Return the name of the entry that a table starts from; "own" where it starts from none."""
    return str(written.get("use", "own")) if isinstance(written, dict) else str(written)


def _entry(name: Any, kind: Kind, *, path: Path, key: str) -> Table:
    entries = shelves()[kind.shelf]
    if not isinstance(name, str):
        raise UserInputError(
            f"{path}: {key}: must be one name in quotes, got {shown(name)};"
            f" the catalogue's {kind.shelf} are {', '.join(entries)}"
        )
    if name not in entries:
        raise UserInputError(
            f"{path}: {key}: the catalogue has no {name!r} among its {kind.shelf};"
            f" the nearest is {nearest(name, entries)!r}"
        )
    entry: Table = entries[name]
    return entry


def changed(base: Table, changes: Table) -> Table:
    """Return a table with the keys of another put over its own, table by table."""
    merged = dict(base)
    for key, value in changes.items():
        before = merged.get(key)
        if isinstance(before, dict) and isinstance(value, dict):
            merged[key] = changed(before, value)
        else:
            merged[key] = value
    return merged


def resolved_group(
    value: Any, kind: Kind, *, path: Path, key: str, may_be_empty: bool = False
) -> dict[str, Any]:
    """Return the named tables of a group, such as a study's riders.

    Parameters
    ----------
    value : Any
        A table whose `use` lists entries of the catalogue, or is "all", and whose other keys are
        tables of their own: a change where the name is among those used, else a new entry.
    kind, path, key
        As for `resolved`.
    may_be_empty : bool

    Raises
    ------
    UserInputError
        The group is empty and may not be, is no table, or names what the catalogue does not have.
    """
    if not isinstance(value, dict):
        raise UserInputError(
            f"{path}: {key}: must be a table, got {shown(value)}; write [{key}] and use = [...]"
        )
    tables: dict[str, Any] = {
        name: {"use": name} for name in _used(value.get("use", []), kind, path=path, key=key)
    }
    for name, own in value.items():
        if name == "use":
            continue
        if not _NAME.fullmatch(name):
            raise UserInputError(
                f"{path}: {key}: a name may hold letters, digits, - and _, got {name!r}; rename it"
            )
        known = tables.get(name, {}) if isinstance(own, dict) else {}
        tables[name] = known | own if isinstance(own, dict) else own
    if not tables and not may_be_empty:
        raise UserInputError(
            f"{path}: {key}: at least one is needed, got none;"
            f' name some, such as use = ["{entry_names(kind)[0]}"]'
        )
    return {
        name: resolved(table, kind, path=path, key=place(key, name))
        for name, table in tables.items()
    }


def _used(use: Any, kind: Kind, *, path: Path, key: str) -> tuple[str, ...]:
    if use == "all":
        return entry_names(kind)
    if not isinstance(use, list) or not all(isinstance(name, str) for name in use):
        raise UserInputError(
            f'{path}: {key}.use: must be "all" or a list of names, got {shown(use)};'
            f' write use = ["{entry_names(kind)[0]}"]'
        )
    return tuple(use)
