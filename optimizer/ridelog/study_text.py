"""The text of a study from a log: compact TOML, with what no ride shows asked for in comments."""

import dataclasses
import re
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import tomli_w

from plant.description.board import Board

_WIDTH = 100
# Of the board and its controller: a ride inside its limits shows none of them.
_LIMITS = {
    ("board", "motor"): ("winding_limit_c",),
    ("board", "drive"): (
        "phase_current_limit_a",
        "battery_current_limit_a",
        "regen_current_limit_a",
        "modulation_limit_ratio",
    ),
    ("board", "battery"): ("bus_low_v", "bus_high_v"),
    ("baseline", "protection"): (
        "reserve_warning_ratio",
        "heat_warning_margin_k",
        "bus_warning_margin_v",
    ),
}
_ASKED = "# No ride inside its limits shows these: enter yours in place of what is in use now."
_NUMBERS = re.compile(r"\[\s*([-+\d.e]+),\s*([-+\d.e]+),\s*\]")
_PAIRS = re.compile(r"\[\n\s+((?:\[[-+\d.e, ]+\],\s*)+)\]")


def study_text(
    tables: Mapping[str, Any],
    board: Board,
    baseline: Mapping[str, Any],
    reasons: Mapping[str, str],
) -> str:
    """Return the text of a study file.

    Parameters
    ----------
    tables : mapping
        Of the file.
    board : Board
        In use where the tables give no number of it.
    baseline : mapping of section to numbers
        The same of the profile.
    reasons : mapping of key to str
        What is said behind a key that stands in the file once.
    """
    in_use = {"board": dataclasses.asdict(board), "baseline": baseline}
    whole = dict(tables)
    asked: dict[str, list[str]] = {}
    for (table, section), names in _LIMITS.items():
        given = whole[table].get(section, {})
        if isinstance(given, str):  # an entry of the catalogue, in whose table the limits go
            given = {"use": given}
            whole[table] = {**whole[table], section: given}
        lines = [f"# {name} = {in_use[table][section][name]!r}" for name in names
                 if name not in given]  # fmt: skip
        if lines:
            asked[f"[{table}.{section}]"] = lines
    return _with_reasons(_with_asked(compact(tomli_w.dumps(whole)), asked), reasons)


def _with_asked(text: str, asked: Mapping[str, Sequence[str]]) -> str:
    """Return the text with these lines at the start of their tables, or in tables at its end."""
    found, left = [], dict(asked)
    for line in text.splitlines():
        found.append(line)
        if line in left:
            found += [_ASKED, *left.pop(line)]
    for header, lines in left.items():
        found += ["", _ASKED, f"# {header}", *lines]
    return "\n".join(found) + "\n"


def _with_reasons(text: str, reasons: Mapping[str, str]) -> str:
    """Return the text with a comment behind each of these keys."""
    lines = text.splitlines()
    for place, line in enumerate(lines):
        why = reasons.get(line.partition(" = ")[0])
        if why is not None:
            lines[place] = f"{line:30s} # {why}"
    return "\n".join(lines) + "\n"


def compact(text: str) -> str:
    """Return TOML with each pair of numbers, and as many pairs as fit, on one line."""
    pairs = _NUMBERS.sub(r"[\1, \2]", text)
    return _PAIRS.sub(lambda every: f"[\n{_filled(every[1])}\n]", pairs)


def _filled(pairs: str) -> str:
    joined = re.sub(r",\s+(?=\[)", ",\n", pairs.strip()).replace(", ", ",\0").replace("\n", " ")
    lines = textwrap.fill(joined, _WIDTH, initial_indent="    ", subsequent_indent="    ")
    return lines.replace("\0", " ")
