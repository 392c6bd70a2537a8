import json
import shutil
import sqlite3
import subprocess
from contextlib import closing

import pandas as pd
import pytest

from optimizer.execution.store import Store
from optimizer.execution.store_format import rows_of_frozen
from optimizer.study.paths import store_path
from tests.optimizer.small_study import write_small_study


def one_line(code, out, err):
    """Check that a refusal is one line on standard error and nothing else; return it."""
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert "Traceback" not in err
    return err


def test_a_new_folder_is_checked_as_it_is_written(levelgain, tmp_path):
    folder = tmp_path / "mine"
    assert levelgain("new", folder)[0] == 0

    code, out, _ = levelgain("check", folder, "--json")

    assert code == 0
    assert json.loads(out)["baseline_fails"] == []
    assert {"outer_knee_deg", "torque_build_up_s"} <= set(json.loads(out)["not_searched"])


def test_a_new_user_reads_the_next_command_in_each_answer(levelgain, finished, tmp_path):
    write_small_study(tmp_path)
    searched = shutil.copytree(finished, tmp_path / "searched")

    made = levelgain("new", tmp_path / "mine")[1]
    checked = levelgain("check", tmp_path)[1]
    done = levelgain("resume", searched)[1]

    assert f"Next: levelgain check {tmp_path / 'mine'}" in made.replace("\n", " ")
    assert "Next: levelgain run" in checked
    assert "Next: levelgain page" in done


def test_new_refuses_a_folder_that_holds_a_study(levelgain, tmp_path):
    write_small_study(tmp_path)

    assert "is there already" in one_line(*levelgain("new", tmp_path))


def test_the_packaged_example_is_copied_by_name(levelgain, tmp_path):
    assert levelgain("new", tmp_path / "hill", "--example", "hill_town")[0] == 0

    assert (tmp_path / "hill" / "mill_lane.gpx").is_file()
    assert "hill_town" in one_line(*levelgain("new", tmp_path / "x", "--example", "nowhere"))


def test_a_run_leaves_whole_tables_and_figures(finished):
    results = finished / "results"
    names = {path.name for path in results.rglob("*") if path.is_file()}
    table = pd.read_csv(results / "candidates.csv")

    assert {"candidates.parquet", "front.csv", "front.parquet", "front.png", "front.svg"} <= names
    assert list(table["number"]) == list(range(36))
    assert table["weighted_cost_ratio"][0] == pytest.approx(1.0)
    pd.testing.assert_frame_equal(
        table.select_dtypes("number"),
        pd.read_parquet(results / "candidates.parquet").select_dtypes("number"),
    )


def test_where_no_course_starts_tail_down_no_table_holds_a_start_jerk(levelgain, finished):
    table = pd.read_csv(finished / "results" / "candidates.csv")
    code, out, _ = levelgain("front", finished, "--all", "--sort", "start_jerk_mps3", "--json")

    assert table["start_jerk_mps3"].isna().all()
    assert code == 0
    assert {row["start_jerk_mps3"] for row in json.loads(out)} == {None}


def test_the_front_can_be_filtered_and_sorted(levelgain, finished):
    arguments = ("front", finished, "--all", "--where", "number<10", "--sort", "-level_error_deg")
    code, out, _ = levelgain(*arguments, "--json")
    shown = json.loads(out)

    assert code == 0
    assert len(shown) == 10
    errors = [row["level_error_deg"] for row in shown]
    assert errors == sorted(errors, reverse=True)
    assert "shown, of 36 ridden" in levelgain(*arguments)[1]


@pytest.mark.parametrize("condition", ["nonsense", "__import__('os')", "unknown<1", "number<x"])
def test_a_condition_that_can_not_be_read_is_one_line(levelgain, finished, condition):
    assert "--where" in one_line(*levelgain("front", finished, "--where", condition))


def test_a_candidate_is_shown_against_the_baseline(levelgain, finished):
    code, out, _ = levelgain("show", finished, "0", "--json")
    shown = json.loads(out)

    assert code == 0
    assert all(row["change_percent"] == 0.0 for row in shown["objectives"])
    assert levelgain("show", finished, "0")[0] == 0


@pytest.mark.parametrize("which", ["36", "-1", "best", "1.5"])
def test_an_unknown_candidate_is_one_line(levelgain, finished, which):
    code, _, err = levelgain("show", finished, "--", which)

    assert code == 2
    assert "Traceback" not in err


def test_an_exported_profile_rides_as_its_candidate(levelgain, finished, tmp_path):
    code, out, _ = levelgain("export", finished, "7", "--to", tmp_path)
    assert code == 0
    assert "local law" in out.lower()

    ridden = json.loads(levelgain("ride", finished, tmp_path / "candidate_7.toml", "--json")[1])
    again = json.loads(levelgain("ride", finished, "7", "--json")[1])
    assert ridden == again


def test_an_export_tells_where_it_comes_from_and_what_it_fails(levelgain, finished, tmp_path):
    table = pd.read_csv(finished / "results" / "candidates.csv")
    failing = int(table["number"][~table["feasible"]].iloc[0])

    _, out, _ = levelgain("export", finished, failing, "--to", tmp_path)
    facts = json.loads((tmp_path / f"candidate_{failing}.json").read_text())

    assert "FAILS a constraint" in out
    assert facts["candidate"]["failed_constraints"]
    assert facts["provenance"]["seed"] == 11
    assert len(facts["provenance"]["study_digest"]) == 64
    assert any("simulation" in caution for caution in facts["cautions"])


def test_an_export_is_not_overwritten_unasked(levelgain, finished, tmp_path):
    assert levelgain("export", finished, "3", "--to", tmp_path)[0] == 0

    assert "--force" in one_line(*levelgain("export", finished, "3", "--to", tmp_path))
    assert levelgain("export", finished, "3", "--to", tmp_path, "--force")[0] == 0


def test_the_exported_header_compiles(levelgain, finished, tmp_path):
    compiler = shutil.which("cc") or shutil.which("gcc")
    assert compiler, "these tests need a C compiler"
    levelgain("export", finished, "0", "--format", "c", "--to", tmp_path)
    source = tmp_path / "use.c"
    source.write_text(
        '#include "candidate_0.h"\n#include "candidate_0.h"\n'
        "double gain = LEVELGAIN_BASE_GAIN_A_PER_DEG;\n"
    )

    subprocess.run([compiler, "-Wall", "-Werror", "-c", "use.c"], cwd=tmp_path, check=True)


def test_a_template_of_the_users_own_fills_in_the_profile(levelgain, finished, tmp_path):
    template = tmp_path / "bench.ini.jinja"
    template.write_text("gain={{ '%.2f' % profile.stiffness.base_gain_a_per_deg }}\n")

    levelgain("export", finished, "0", "--format", "c", "--template", template, "--to", tmp_path)

    assert (tmp_path / "candidate_0_bench.ini").read_text() == "gain=5.50\n"


@pytest.mark.parametrize(
    "text",
    ["{{ nothing }}", "{{ ", "{{ profile.__class__.mro() }}", "{{ 1 / 0 }}", "{{ 'a' + 1 }}"],
)
def test_a_template_that_can_not_be_filled_writes_nothing(levelgain, finished, tmp_path, text):
    template = tmp_path / "bad.txt.jinja"
    template.write_text(text)
    to = tmp_path / "to"

    one_line(*levelgain("export", finished, "0", "--template", template, "--to", to))
    assert not to.exists()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('use = "lender_15"', 'use = "lender_15"\nframe.frame_mass_kg = 0.0'), "frame_mass_kg"),
        (
            ('use = "lender_15"', 'use = "lender_15"\nmotor.phase_resistance_ohm = -0.05'),
            "phase_resistance_ohm",
        ),
        (('use = "lender_15"', 'use = "lender_15"\nmotor.kv_rpm_per_v = 1.57'), "rad/s"),
        (("seed = 11", "sed = 11"), "seed"),
        (("population = 12", "bounds.base_gain_a_per_deg = [9.0, 3.0]"), "base_gain_a_per_deg"),
        (('["stand_still", "kerb_up", "cobbles"]', "[]"), "courses"),
        (('["pupil_40", "baker_80"]', "[]"), "riders"),
        (('"workshop_15"', '"workshop_16"'), "workshop_15"),
        (("[search]", "[search"), "study.toml"),
    ],
)
def test_a_study_file_that_can_not_be_true_is_one_line(levelgain, tmp_path, change, said):
    folder = write_small_study(tmp_path / "bad", change)

    assert said in one_line(*levelgain("run", folder))
    assert [path.name for path in folder.iterdir()] == ["study.toml"]


def test_a_gpx_without_heights_is_one_line(levelgain, tmp_path):
    course = (
        'use = ["stand_still", "kerb_up", "cobbles"]',
        'use = ["stand_still", "kerb_up", "cobbles"]\n[courses.lane]\nuse = "cruise"\n'
        'title = "A lane"\nroad.elevation = { file = "lane.gpx" }',
    )
    folder = write_small_study(tmp_path / "bad", course)
    (folder / "lane.gpx").write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        '<trkpt lat="1.0" lon="2.0"/><trkpt lat="1.1" lon="2.0"/></trkseg></trk></gpx>'
    )

    assert "lane.gpx" in one_line(*levelgain("run", folder))


def test_a_started_study_is_resumed_and_not_run_again(levelgain, finished, tmp_path):
    assert "levelgain resume" in one_line(*levelgain("run", finished))

    fresh = write_small_study(tmp_path / "fresh")
    assert "levelgain run" in one_line(*levelgain("resume", fresh))


def test_a_store_of_another_study_is_refused(levelgain, finished, tmp_path):
    folder = write_small_study(tmp_path / "other", ("seed = 11", "seed = 12"))
    shutil.copy(finished / "store.sqlite", folder)
    before = (folder / "store.sqlite").read_bytes()

    assert "(seed was 11, is 12)" in one_line(*levelgain("resume", folder))
    assert (folder / "store.sqlite").read_bytes() == before


@pytest.mark.parametrize("damage", ["garbage", "foreign", "cut"])
def test_a_damaged_or_foreign_store_is_one_line_and_left_alone(
    levelgain, finished, tmp_path, damage
):
    folder = write_small_study(tmp_path / "study")
    path = folder / "store.sqlite"
    if damage == "garbage":
        path.write_bytes(b"not a database at all" * 300)
    elif damage == "cut":
        path.write_bytes((finished / "store.sqlite").read_bytes()[:9000])
    else:
        with sqlite3.connect(path) as connection:
            connection.execute("create table notes (text)")
        connection.close()
    before = path.read_bytes()

    assert "store.sqlite" in one_line(*levelgain("resume", folder))
    assert path.read_bytes() == before


def test_two_runs_on_one_folder_are_refused(levelgain, tmp_path):
    folder = write_small_study(tmp_path / "study")
    with Store(folder / "store.sqlite"):
        code, _, err = levelgain("resume", folder)

    assert code == 2
    assert "another" in err


def test_the_help_cuts_no_line_short(levelgain):
    lines = levelgain("--help")[1].splitlines()

    assert not any(line.rstrip().endswith("...") and "COMMAND" not in line for line in lines)


@pytest.mark.parametrize("command", ["front", "resume"])
def test_a_study_of_another_version_is_refused_as_such(levelgain, finished, tmp_path, command):
    study = shutil.copytree(finished, tmp_path / "study")
    with closing(sqlite3.connect(store_path(study))) as store, store:
        inputs = dict(store.execute("SELECT key, text FROM frozen"))
        inputs |= {"study.digest": "other", "model.digest": "other"}
        store.executemany("REPLACE INTO frozen VALUES (?, ?, ?)", rows_of_frozen(inputs))

    refused = one_line(*levelgain(command, study))

    assert "another version of this program wrote it" in refused


def test_a_study_of_ones_own_board_says_what_to_replace(levelgain, tmp_path):
    code, out, err = levelgain(
        "new", tmp_path / "own", "--motor-kv", "24", "--cells", "16", "--riders", "35,110"
    )

    assert (code, err) == (0, "")
    assert "marked 'assumed'" in out
    assert f"levelgain check {tmp_path / 'own'}" in out
    code, out, err = levelgain("new", tmp_path / "other", "--riders", "35 110")
    assert code == 2
    assert err == (
        "--riders: must be masses in kg with commas between, got '35 110'; such as 62,80\n"
    )
    assert not (tmp_path / "other").exists()
