"""Tables in Markdown."""

from collections.abc import Iterable, Sequence


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table as text, a row a line."""
    lines = [head, ["---"] * len(head), *rows]
    return "".join(f"| {' | '.join(str(cell) for cell in line)} |\n" for line in lines)
