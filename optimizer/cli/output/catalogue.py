"""What the catalogue holds, and which studies there are, as tables."""

from pathlib import Path
from typing import Any

import pandas as pd
from rich.console import Console

from optimizer.base.errors import UserInputError
from optimizer.base.messages import nearest
from optimizer.base.toml_io import read_toml
from optimizer.cli.console import print_table
from optimizer.execution.asked_candidates import ASKED
from optimizer.execution.store import how_far, started_with
from optimizer.study.catalogue import entry_names
from optimizer.study.catalogue_entries import KINDS, kind_of, notes, numbers_of_entry, remark
from optimizer.study.paths import STUDY_FILE, store_path
from optimizer.study.schema import SearchTable

_USUAL = int(SearchTable.model_fields["candidates"].default)  # candidates where a file gives none


def kinds_facts() -> list[dict[str, Any]]:
    """Return each kind of entries with their names."""
    return [{"kind": kind, "entries": ", ".join(entry_names(KINDS[kind]))} for kind in KINDS]


def kind_facts(kind: str) -> list[dict[str, Any]]:
    """Return each entry of a kind with what it is.

    Raises
    ------
    UserInputError
        There is no such kind.
    """
    found = kind_of(kind)
    return [{"name": name, "is": remark(found, name)} for name in entry_names(found)]


def entry_facts(kind: str, name: str) -> dict[str, Any]:
    """Return each value of an entry with its meaning, range and source.

    Raises
    ------
    UserInputError
        There is no such kind or entry.
    """
    found = kind_of(kind)
    if name not in entry_names(found):
        raise UserInputError(
            f"catalogue: there is no {name!r} among its {kind}; the nearest is"
            f" {nearest(name, entry_names(found))!r}"
        )
    rows = []
    for number in numbers_of_entry(found, name):
        declared = number.declared
        rows.append(
            {
                "key": number.key,
                "value": number.value,
                "lowest": None if declared is None else declared.low,
                "highest": None if declared is None else declared.high,
                "meaning": "" if declared is None else declared.text,
                "source": number.source,
            }
        )
    return {"kind": kind, "name": name, "notes": notes(found, name), "values": rows}


def print_entry(out: Console, facts: dict[str, Any]) -> None:
    """Print an entry: its values, then what is noted of it as a whole."""
    rows = [
        {
            "key": row["key"],
            "value": _shown(row["value"]),
            "range": "" if row["lowest"] is None else f"{row['lowest']:g} to {row['highest']:g}",
            "meaning": row["meaning"],
            "source": row["source"],
        }
        for row in facts["values"]
    ]
    print_rows(out, rows)
    if facts["notes"]:
        out.print("Note: " + " ".join(facts["notes"]))


def print_rows(out: Console, rows: list[dict[str, Any]]) -> None:
    """Print rows as a table."""
    print_table(out, pd.DataFrame(rows))


def studies_facts(folder: Path) -> list[dict[str, Any]]:
    """Return the studies in a folder and right below it, and how far each is.

    Raises
    ------
    UserInputError
        There is no such folder.
    """
    if not folder.is_dir():
        raise UserInputError(f"{folder}: there is no such folder; check the path")
    places = [folder, *sorted(path for path in folder.iterdir() if path.is_dir())]
    return [_study_facts(place) for place in places if (place / STUDY_FILE).is_file()]


def _study_facts(folder: Path) -> dict[str, Any]:
    row: dict[str, Any] = {"folder": str(folder), "title": "", "candidates": 0, "state": ""}
    try:
        tables = read_toml(folder / STUDY_FILE)
        row["title"] = str(tables.get("title", ""))
        row["candidates"], running = how_far(store_path(folder))
        asked = started_with(store_path(folder), ASKED)
    except UserInputError as error:
        return row | {"state": str(error)}
    if running:
        return row | {"state": "running, or killed"}
    if not row["candidates"]:
        return row | {"state": "not started"}
    wanted = int(asked) if asked else tables.get("search", {}).get("candidates", _USUAL)
    return row | {
        "state": "searched" if row["candidates"] >= wanted else f"stopped before {wanted}"
    }


def _shown(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
