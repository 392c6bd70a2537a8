"""A help that lists commands in groups, in plain text."""

from typing import Any

from typer.core import TyperGroup


class GroupedHelp(TyperGroup):
    """Commands under the names of their groups, each in the order in which it was added."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write each group with a line for each of its commands."""
        groups: dict[str, list[tuple[str, str]]] = {}
        commands = [(name, self.get_command(ctx, name)) for name in self.list_commands(ctx)]
        width = max(len(name) for name, _ in commands)
        limit = formatter.width - 6 - width
        for name, command in commands:
            if command is None or command.hidden:
                continue
            panel = getattr(command, "rich_help_panel", None)
            # Typer's marker for 'not given' is no text.
            group = panel if isinstance(panel, str) else "Commands"
            words = command.get_short_help_str(limit)
            groups.setdefault(group, []).append((name.ljust(width), words))
        for group, rows in groups.items():
            with formatter.section(group):
                formatter.write_dl(rows)
