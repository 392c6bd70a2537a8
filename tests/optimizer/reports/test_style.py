"""Figures are written so that equal figures give equal files."""

import matplotlib as mpl
import numpy as np
import pytest

from optimizer.reports.style import new_figure, save, styled


def written(stem):
    """Draw markers inside clipped axes, write them, and return the bytes of each file."""
    figure = new_figure(3.0, 2.0)
    axes = figure.subplots()
    axes.plot(np.arange(5.0), np.arange(5.0) ** 2, "o-", label="square")
    axes.fill_between(np.arange(5.0), 0.0, 4.0, hatch="/")
    axes.legend()
    return {path.suffix: path.read_bytes() for path in save(figure, stem)}


def test_two_writes_give_the_same_bytes_inside_the_projects_settings(tmp_path):
    with styled():
        first, second = written(tmp_path / "first"), written(tmp_path / "second")

    assert first == second
    assert set(first) == {".png", ".svg"}


def test_two_writes_give_the_same_bytes_under_anybodys_settings(tmp_path):
    with mpl.rc_context({"svg.hashsalt": None}):
        first, second = written(tmp_path / "first"), written(tmp_path / "second")

    assert first == second


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_no_file_says_when_it_was_written(tmp_path, suffix):
    content = written(tmp_path / "figure")[suffix].lower()

    assert b"<dc:date>" not in content
    assert b"creation time" not in content
