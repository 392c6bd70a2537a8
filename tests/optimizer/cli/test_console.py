"""Tables on a terminal: whole where they fit, folded where not, and every number in full."""

import io

import pandas as pd
import pytest
from rich.console import Console

from optimizer.cli.console import print_table

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
