"""The documents name commands, options, files and headings that exist."""

import re
from pathlib import Path

import pytest
import typer

from optimizer.cli.app import app

ROOT = Path(__file__).parents[1]
DOCUMENTS = ["README.md", "DEVELOPERS.md", "studies/README.md", "tests/benchmarks/RESULTS.md"]
COMMANDS = typer.main.get_command(app).commands
BY_NAME = {
    **{name: command for name, command in COMMANDS.items() if name != "log"},
    **{f"log {name}": command for name, command in COMMANDS["log"].commands.items()},
}


def text_of(document):
    return (ROOT / document).read_text(encoding="utf-8")


def typed_commands(text):
    """Return every `levelgain ...` of a text that is to be typed, without what follows it."""
    fenced = re.findall(r"^```(\w*)\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)
    blocks = [lines for language, lines in fenced if not language]
    prose = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    typed = re.findall(r"(?:^|&& )levelgain ([^\n&#]+)", "\n".join(blocks), flags=re.MULTILINE)
    typed += re.findall(r"`levelgain\s([^`]+)`", prose)
    return [line.strip() for line in typed if line.split()[0] != "COMMAND"]


def name_of(typed):
    words = typed.split()
    return " ".join(words[:2]) if words[0] == "log" else words[0]


def headings(text):
    """Return the anchors of a document's headings."""
    titles = re.findall(r"^#+ (.+)$", text, flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("document", DOCUMENTS)
def test_each_command_to_type_exists_with_its_options(document):
    for typed in typed_commands(text_of(document)):
        command = BY_NAME[name_of(typed)]
        known = {option for parameter in command.params for option in parameter.opts}
        assert set(re.findall(r"--[a-z-]+", typed)) <= known, typed


def test_the_readme_has_a_row_for_each_command():
    table = text_of("README.md").partition("## Commands")[2].partition("\n## ")[0]

    named = {cell.split()[0] for row in re.findall(r"^\| (.*?) \|", table, flags=re.MULTILINE)
             for cell in re.findall(r"`([^`]+)`", row)}  # fmt: skip

    assert named == set(COMMANDS)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_each_link_leads_to_a_file_and_a_heading(document):
    for link in re.findall(r"\]\(([^)\s]+)\)", text_of(document)):
        if "://" in link:
            continue
        path, _, anchor = link.partition("#")
        target = ((ROOT / document).parent / path).resolve() if path else ROOT / document
        assert target.exists(), link
        assert not anchor or anchor in headings(target.read_text(encoding="utf-8")), link
