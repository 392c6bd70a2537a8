"""Tables on a terminal: whole where they fit, folded where not, and every number in full."""

import io
import json

import pandas as pd
import pytest
from rich.console import Console

from optimizer.analysis.tables import csv_text
from optimizer.cli.console import console, print_json, print_table

TABLE = pd.DataFrame(
    {
        "number": [12345, 7],
        "picks": ["balanced;lowest_cost;calmest_level", ""],
        "level_error_deg": [2.434, 12.75],
        "weighted_cost_ratio": [0.6932, 1.0],
    }
)


def printed(width):
    out = Console(file=io.StringIO(), width=width, markup=False, highlight=False)
    print_table(out, TABLE)
    return out.file.getvalue()


def test_a_table_that_fits_has_its_names_whole_in_one_line():
    head = printed(100).splitlines()[0].split()

    assert head == list(TABLE.columns)


@pytest.mark.parametrize("width", [80, 60, 44])
def test_no_number_is_cut_short_in_a_narrow_terminal(width):
    text = printed(width)

    assert all(number in text for number in ("12345", "2.434", "12.75", "0.6932"))
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text


HOSTILE = "\x1b]0;owned\x07\x1b[31m\u202e\x9b1m[bold red]:warning:[/]"
SHOWN = r"\x1b]0;owned\x07\x1b[31m\u202e\x9b1m[bold red]:warning:[/]"


def test_no_control_character_and_no_markup_of_a_text_reaches_the_terminal(capsys):
    out = console()
    out.print(f"{HOSTILE}: in order.")
    print_table(out, pd.DataFrame({"ride": [HOSTILE], "level_error_deg": [2.5]}))

    said = capsys.readouterr().out
    assert said.count(SHOWN) == 2
    assert not set(said) & set("\x1b\x07\u202e\x9b")


def test_json_for_a_terminal_holds_escapes_alone(capsys):
    print_json({"title": HOSTILE})

    said = capsys.readouterr().out
    assert json.loads(said) == {"title": HOSTILE}
    assert not set(said) & set("\x1b\x07\u202e\x9b")


def test_a_spreadsheet_takes_no_text_of_a_table_for_a_formula():
    table = pd.DataFrame(
        {
            "ride": ["=1+1", "+cmd", "-cmd", "@cmd", "\tcmd", "climb, smith", "a=b", None],
            "level_error_deg": [-2.5, 1e-7, -0.0, 3.0, 4.0, 5.0, 6.0, float("nan")],
            "feasible": [True] * 8,
        }
    )

    read = pd.read_csv(io.StringIO(csv_text(table)), keep_default_na=False)

    cells = ["'=1+1", "'+cmd", "'-cmd", "'@cmd", "'\tcmd", "climb, smith", "a=b", ""]
    assert list(read["ride"]) == cells
    assert list(read["level_error_deg"])[:3] == ["-2.5", "1e-07", "-0.0"]
    numbers = table.drop(columns="ride")
    assert csv_text(numbers) == numbers.to_csv(index=False, lineterminator="\n")
