"""Reading a study and its results for a command, with a bar while that takes seconds."""

from pathlib import Path

from rich.console import Console

from optimizer.analysis.results import Results, read_results
from optimizer.cli.stages_view import StagesView
from optimizer.study.load import load_study


def read_study(folder: Path, out: Console) -> Results:
    """Return what a study has found so far; see `optimizer.analysis.results.read_results`.

    Parameters
    ----------
    folder : Path
    out : Console
        Where the bar is shown.

    Raises
    ------
    UserInputError
        The study can not be read, or nothing is ridden yet.
    """
    with StagesView(out) as stages:
        stages.begin("reading the study")
        return read_results(load_study(folder))
