"""Exported files hold the profile and nothing that a title could smuggle into them."""

import copy
import json
import subprocess

import pytest

from optimizer.analysis.candidate import candidate_profile
from optimizer.analysis.results import read_results
from optimizer.base.errors import UserInputError
from optimizer.reports.profile_export import content, export, render
from optimizer.study.load import load_profile, load_study
from plant.description.profile_array import array_to_profile

# Each would end the comment, splice its lines, or be warned of, in a header that copied it.
HOSTILE = (
    "*/ int smuggled; /*",
    "*\\\n/ int smuggled; /*",
    "*??/\n/ int smuggled; /*",
    "???/ ????/ ??'??(??)??!??<??>",
    "/*/ */* **//* /",
    "*\u200b/ int smuggled; /*",
    "*\x00/ int smuggled; /*",
    "ends with a backslash \\",
    "ends with a trigraph ??/",
    "lines\r\nof\x0ball\x1ckinds\x85end\u2028",
    '"\n#define smuggled 1\n%:define smuggled 1\n_Pragma("GCC error \\"x\\"")',
    "\u202eturned\u2066 \x1b[31m\x9b \ud800",
    "x" * 100_000 + "*/",
    "?" * 500 + "/" * 500,
    "Straße 字 → ✓",
)
COMPILERS = (
    ("gcc", "-std=c99"),
    ("gcc", "-std=c11", "-trigraphs"),
    ("g++", "-std=c++11", "-trigraphs", "-x", "c++"),
)


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


@pytest.fixture(scope="module")
def facts(results):
    return content(results, 0)


def with_title(facts, title):
    hostile = copy.deepcopy(facts)
    hostile["provenance"]["title"] = title
    hostile["candidate"]["failed_constraints"] = [title]
    return hostile


@pytest.mark.parametrize("title", HOSTILE, ids=range(len(HOSTILE)))
def test_a_title_can_not_leave_the_comment_of_the_header(facts, title):
    text = render(with_title(facts, title), "c")

    assert text.split("*/", 1)[1] == render(facts, "c").split("*/", 1)[1]
    assert len(text.splitlines()) == len(render(with_title(facts, "x"), "c").splitlines())
    assert max(map(len, text.splitlines())) < 450


@pytest.mark.parametrize("compiler", COMPILERS, ids=" ".join)
def test_headers_with_any_title_compile_without_a_warning(facts, tmp_path, compiler):
    for number, title in enumerate(HOSTILE):
        (tmp_path / f"profile_{number}.h").write_text(render(with_title(facts, title), "c"))
        (tmp_path / f"uses_{number}.c").write_text(
            f'#include "profile_{number}.h"\n#include "profile_{number}.h"\n'
            "double smuggled;\n"  # conflicts with an int, and with a macro
            "double gain = LEVELGAIN_BASE_GAIN_A_PER_DEG;\n"
        )
    sources = [f"uses_{number}.c" for number in range(len(HOSTILE))]

    done = subprocess.run(
        [*compiler, "-Wall", "-Wextra", "-Werror", "-fsyntax-only", *sources],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr


def exported(results, folder, template, *, force=False):
    return export(results, 0, formats=("c",), template=template, folder=folder, force=force)


def test_a_template_can_not_take_the_place_of_the_plan_for_first_rides(results, tmp_path):
    template = tmp_path / "first_rides.md.jinja"
    template.write_text("ride as fast as you can")

    with pytest.raises(UserInputError, match="another of this export; rename the template"):
        exported(results, tmp_path / "to", template)
    assert not (tmp_path / "to").exists()


def test_an_export_writes_all_its_files_or_none(results, tmp_path):
    template = tmp_path / "bench.txt"
    template.write_text("{{ profile.stiffness.base_gain_a_per_deg }}")
    # The last file of three can not be written, for a folder has its name.
    (tmp_path / "to" / "candidate_0_bench.txt").mkdir(parents=True)

    with pytest.raises(UserInputError, match=r"candidate_0_bench\.txt: a folder stands where"):
        exported(results, tmp_path / "to", template, force=True)

    assert [path.name for path in (tmp_path / "to").iterdir()] == ["candidate_0_bench.txt"]


def test_an_exported_profile_is_read_back_from_json_as_from_toml(
    levelgain, results, finished, tmp_path
):
    number = results.picks["lowest_cost"]
    wanted = array_to_profile(candidate_profile(results, number))

    files = export(results, number, formats=("toml", "json"), template=None, folder=tmp_path,
                   force=False)  # fmt: skip

    paths = {path.suffix: path for path in files}
    unnamed = tmp_path / "mine"
    unnamed.write_bytes(paths[".json"].read_bytes())
    assert [load_profile(path) for path in (paths[".toml"], paths[".json"], unnamed)] == [
        wanted
    ] * 3
    code, out, err = levelgain("compare", finished, number, paths[".json"], "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)["parameters"] == []  # nothing differs
