"""Exported files hold the profile and nothing that a title could smuggle into them."""

import copy
import subprocess

import pytest

from optimizer.analysis.results import read_results
from optimizer.reports.profile_export import content, render
from optimizer.study.load import load_study

# Each would end the comment, or splice its lines, in a header that copied it.
HOSTILE = (
    "*/ int smuggled; /*",
    "*\\\n/ int smuggled; /*",
    "*??/\n/ int smuggled; /*",
    "ends with a backslash \\",
)


@pytest.fixture
def facts(finished):
    return content(read_results(load_study(finished)), 0)


@pytest.mark.parametrize("title", HOSTILE)
def test_a_title_can_not_leave_the_comment_of_the_header(facts, tmp_path, title):
    hostile = copy.deepcopy(facts)
    hostile["provenance"]["title"] = title

    text = render(hostile, "c")

    outside = text.split("*/", 1)[1]
    assert outside == render(facts, "c").split("*/", 1)[1]
    source = tmp_path / "uses.c"
    (tmp_path / "profile.h").write_text(text)
    source.write_text('#include "profile.h"\ndouble smuggled;\n')  # conflicts with an int
    compiled = ["cc", "-std=c11", "-Wall", "-Werror", "-trigraphs", "-fsyntax-only", source]
    done = subprocess.run(compiled, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
