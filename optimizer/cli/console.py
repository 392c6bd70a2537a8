"""How the commands print: tables that fit a terminal, plain text when piped, and JSON."""

import math
import sys
from collections.abc import Mapping
from typing import Any

import numpy as np
import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from optimizer.base.cautions import CAUTIONS
from optimizer.base.json_io import json_text
from optimizer.base.printable import printable

_PIPED_WIDTH = 200
_NUMERIC = "biuf"  # kinds of numpy's numbers


def console(*, as_json: bool = False) -> Console:
    """Return a console on standard output, wide and plain when piped.

    Parameters
    ----------
    as_json : bool
        Whether standard output is for JSON alone; the console is on standard error then.
    """
    stream = sys.stderr if as_json else sys.stdout
    width = None if stream.isatty() else _PIPED_WIDTH
    return _Terminal(
        width=width, highlight=False, markup=False, emoji=False, soft_wrap=True, stderr=as_json
    )


class _Terminal(Console):
    """A console that sends no control characters of foreign texts, and hides no closed pipe."""

    def render_str(self, text: str, **how: Any) -> Text:
        """Return a text that is to be printed, or stands in a table, with its style."""
        return super().render_str(printable(text), **how)

    def on_broken_pipe(self) -> None:
        """Leave it to `optimizer.cli.app.main`, as where anything else is printed."""
        raise  # noqa: PLE0704  # called while the error is handled


def print_table(out: Console, table: Mapping[str, Any] | Any) -> None:
    """Print a table, numbers with four significant digits, and a dash where there is none.

    Where it is wider than the terminal, its heads break at underscores and its texts fold; no
    number is ever cut short.
    """
    columns = {
        str(name): [printable(_text(value)) for value in table[name].tolist()] for name in table
    }
    width = sum(max(map(len, [name, *cells])) + 1 for name, cells in columns.items())
    narrow = width > out.width
    shown = Table(box=None, pad_edge=False, header_style="bold")
    for name, cells in columns.items():
        numeric = np.asarray(table[name]).dtype.kind in _NUMERIC
        shown.add_column(
            name.replace("_", "_\n") if narrow else name,
            justify="right" if numeric else "left",
            no_wrap=numeric or not narrow,
            overflow="fold",
            min_width=max(map(len, cells), default=0) if numeric else None,
        )
    for row in zip(*columns.values(), strict=True):
        shown.add_row(*row)
    out.print(shown)


def print_json(facts: Any) -> None:
    """Print facts as JSON on standard output; see `optimizer.base.json_io.json_text`."""
    typer.echo(json_text(facts), nl=False)


def print_cautions(out: Console) -> None:
    """Print every caution."""
    out.print("\nBefore anybody rides:")
    for caution in CAUTIONS:
        out.print(f"- {caution}")


def _text(value: object) -> str:
    if isinstance(value, float):
        return "-" if math.isnan(value) else f"{value:.4g}"
    return str(value)
