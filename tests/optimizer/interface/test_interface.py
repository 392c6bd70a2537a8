import inspect
import io
import json
import tomllib

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from PIL import Image

from objectives import OBJECTIVES, RIDE_COLUMNS
from optimizer.interface import levelgain
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from tests.optimizer.small_study import SMALL_STUDY, STEEP, write_small_study

TABLES = tomllib.loads(SMALL_STUDY)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return levelgain.new_study(tmp_path_factory.mktemp("studies") / "small", tables=TABLES)


@pytest.fixture
def levelgain_command(request):
    """The command line; its fixture has the name of the package."""
    return request.getfixturevalue("levelgain")


@pytest.fixture(scope="module")
def heard():
    return []


@pytest.fixture(scope="module")
def results(study, heard):
    return levelgain.run(study, candidates=24, jobs=2, on_progress=heard.append)


def test_a_run_gives_the_tables_that_the_command_writes(finished, tmp_path):
    folder = write_small_study(tmp_path)

    results = levelgain.run(levelgain.load_study(str(folder)))

    levelgain.write_tables(results)
    for name in ("candidates.csv", "front.csv"):
        ours, theirs = (where / "results" / name for where in (folder, finished))
        assert ours.read_bytes() == theirs.read_bytes()
    pd.testing.assert_frame_equal(
        levelgain.front(results),
        pd.read_csv(finished / "results/front.csv").fillna({"picks": ""}),
        check_dtype=False,
    )


def test_a_callback_hears_of_every_generation_and_of_the_front_evaluated_again(results, heard):
    searched = [now for now in heard if now.stage.startswith("search")]
    again = [now for now in heard if now.stage.startswith("front")]

    assert [now.done for now in searched] == [0, 12, 24]
    assert {now.total for now in searched} == {24}
    assert again[-1].done == again[-1].total == results.reevaluated.sum()
    assert str(searched[0]) == "search, in candidates: 0 of 24; first generation"
    assert str(searched[1]).startswith("search, in candidates: 12 of 24; ")
    assert str(again[-1]).endswith(f"{again[-1].done} of {again[-1].done}")
    feasible = results.searched.objectives[np.all(results.searched.constraints <= 0.0, axis=1)]
    feasible = np.unique(feasible, axis=0)  # of equals, one is on the front
    beaten = [np.any(np.all(feasible <= row, axis=1) & np.any(feasible < row, axis=1))
              for row in feasible]  # fmt: skip
    assert len(beaten) > sum(beaten) > 0
    assert searched[2].note.startswith(f"front {len(beaten) - sum(beaten)}, hypervolume 0.")


def test_a_stopped_run_is_gone_on_with_by_the_same_call(tmp_path, results):
    study = levelgain.new_study(tmp_path / "small", tables=TABLES)
    with pytest.raises(levelgain.NotStartedError):
        levelgain.run(study, candidates=24, stop=lambda: True)
    heard = []
    stopped = levelgain.run(
        study, candidates=24, on_progress=heard.append, stop=lambda: len(heard) > 1
    )
    assert len(stopped) == 12

    whole = levelgain.run(study, candidates=24)

    pd.testing.assert_frame_equal(levelgain.candidates(whole), levelgain.candidates(results))


def test_an_interrupted_cell_may_be_run_again(tmp_path, results):
    study = levelgain.new_study(tmp_path / "small", tables=TABLES)

    def interrupted(progress):
        if progress.done == 12:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        levelgain.run(study, candidates=24, on_progress=interrupted)

    whole = levelgain.run(study, candidates=24)

    pd.testing.assert_frame_equal(levelgain.candidates(whole), levelgain.candidates(results))


def test_a_finished_study_is_only_read(study, results):
    again = levelgain.run(study, candidates=12)

    assert len(again) == len(results) == 24


def test_what_is_reused_is_told(tmp_path, study, results, capsys):
    folder = tmp_path / "small"
    changed = levelgain.new_study(
        folder, tables=TABLES | {"objectives": {"weights": {"nose_downs_per_1000_km": 3.0}}}
    )
    levelgain.run(changed, candidates=12)
    (folder / "study.toml").write_text(SMALL_STUDY)

    levelgain.run(levelgain.load_study(folder), candidates=24)

    assert "The search goes on by the weights it was started with" in capsys.readouterr().out


def test_a_picked_profile_is_the_row_of_the_table(study, results):
    number = results.picks["lowest_cost"]
    row = levelgain.candidates(results).loc[number]

    profile = levelgain.profile(results, "lowest_cost")

    assert profile == levelgain.profile(results, number)
    values = dict(zip(PROFILE_NAMES, profile_to_array(profile), strict=True))
    for name in study.space.names:
        assert values[name] == row[name]


def test_a_ride_is_what_the_command_tells(levelgain_command, finished):
    code, said, _ = levelgain_command("ride", finished, "--json")
    assert code == 0
    command = pd.DataFrame(json.loads(said))
    study = levelgain.load_study(finished)

    table = levelgain.ride(study, study.baseline)

    assert list(table) == ["ride", *(name for name in RIDE_COLUMNS if name != "outcome"), "ended"]
    pd.testing.assert_frame_equal(table[list(command)], command, check_exact=False, rtol=1e-9)


def test_a_candidate_of_the_front_has_the_same_numbers_where_it_is_compared(study, results):
    name, number = next(iter(results.picks.items()))
    assert results.reevaluated[number]

    found = levelgain.compare(study, {name: levelgain.profile(results, name)}, jobs=2)

    np.testing.assert_array_equal(found.objectives[0], results.history.objectives[number])
    np.testing.assert_array_equal(found.rides[0], results.rides[number])
    rates = levelgain.candidate(results, name)["nose_down_rates"]
    assert found.nose_down_rates["rate_per_1000_km"][0] == rates["rate_per_1000_km"][0]


def test_traces_have_the_units_in_their_names_and_end_with_the_ride(tmp_path):
    study = levelgain.load_study(write_small_study(tmp_path, *STEEP))
    table = levelgain.ride(study, study.baseline).set_index("ride")
    course, rider = table["peak_current_a"].idxmax().split("/")

    signals = levelgain.traces(study, study.baseline, course=course, rider=rider, every_ms=1)

    units = {"s", "m", "mps", "mps2", "deg", "a", "v", "c", "nm", "n", "ratio", "percent"}
    assert {name.rpartition("_")[2] for name in signals} <= units
    assert np.allclose(np.diff(signals["time_s"]), 0.001)
    assert not signals.isna().any().any()
    assert signals["current_a"].abs().max() == pytest.approx(
        table.loc[f"{course}/{rider}", "peak_current_a"], rel=0.02
    )


def test_a_ride_that_the_study_has_not_is_refused_with_the_nearest(study):
    with pytest.raises(levelgain.RideError, match="stand_still/"):
        levelgain.traces(study, study.baseline, course="stand_still", rider="smith_105")


def test_scores_are_those_of_the_tables(study, results):
    number = results.picks["lowest_cost"]
    table = levelgain.candidates(levelgain.read_results(study)).loc[[number]]
    ours = levelgain.profile(results, number)

    scores = levelgain.score(study, {"ours": ours, "baseline": study.baseline}).set_index("profile")

    assert list(scores.index) == ["ours", "baseline"]
    assert scores.loc["ours", "feasible"]
    assert set(scores.columns) - {"feasible"} <= set(table)
    assert results.reevaluated[number]
    front = dict(zip(OBJECTIVES, results.history.objectives[number], strict=True))
    assert scores.loc["ours", list(OBJECTIVES)].to_dict() == pytest.approx(front, rel=1e-12)


def test_a_candidates_tables_are_what_the_command_shows(levelgain_command, finished):
    code, said, _ = levelgain_command("show", finished, "fewest_nose_downs", "--json")
    assert code == 0
    shown = json.loads(said)

    tables = levelgain.candidate(
        levelgain.read_results(levelgain.load_study(finished)), "fewest_nose_downs"
    )

    for name, table in tables.items():
        command = pd.DataFrame(shown[name])
        ours = table[list(command)].reset_index(drop=True)
        pd.testing.assert_frame_equal(ours, command, check_exact=False, rtol=1e-9)


def test_a_comparison_holds_each_profile_as_it_rides_alone(study, results):
    profiles = {"baseline": study.baseline, "ours": levelgain.profile(results, "lowest_cost")}

    found = levelgain.compare(study, profiles, jobs=2)

    scores = levelgain.score(study, profiles)
    assert list(found.scores["profile"]) == list(scores["profile"]) == list(profiles)
    for name in OBJECTIVES:
        assert found.scores[name].tolist() == scores[name].tolist()
    risk = levelgain.ride(study, profiles["ours"])["nose_down_risk"]
    assert found.column("nose_down_risk")[1].tolist() == risk.tolist()
    assert (found.differences["baseline"] != found.differences["ours"]).all()
    assert set(found.differences["parameter"]) <= set(PROFILE_NAMES)
    for figure in (
        levelgain.figures.compared_rides(found),
        levelgain.figures.compared_loops(found),
    ):
        assert any("not a ride test" in text.get_text() for text in figure.texts)


def test_what_can_not_be_compared_or_drawn_is_refused(study):
    with pytest.raises(ValueError, match="one or more"):
        levelgain.compare(study, {})
    alone = levelgain.compare(study, {"alone": study.baseline})
    with pytest.raises(ValueError, match="from 2 to 7 profiles"):
        levelgain.figures.compared_rides(alone)
    many = levelgain.compare(study, {str(number): study.baseline for number in range(8)})
    with pytest.raises(ValueError, match="got 8"):
        levelgain.figures.compared_loops(many)


@pytest.mark.slow
def test_an_explanation_is_what_the_command_tells(levelgain_command, finished):
    code, said, _ = levelgain_command("explain", finished, "fewest_nose_downs", "--json")
    assert code == 0
    told = json.loads(said)
    results = levelgain.read_results(levelgain.load_study(finished))
    heard = []

    found = levelgain.explain(results, "fewest_nose_downs", on_progress=heard.append)

    assert found.number == told["number"] == results.picks["fewest_nose_downs"]
    assert found.sentences == told["sentences"]
    assert found.around["parameter"].tolist() == [row["parameter"] for row in told["around"]]
    assert set(found.importance["objective"]) <= set(OBJECTIVES)
    assert heard[0].stage == "riding the neighbours"
    assert isinstance(levelgain.figures.explanation(found), Figure)
    assert repr(found).startswith(f"<Explanation of candidate {found.number}: ")


def test_a_fork_starts_from_the_best_and_is_a_study(results, tmp_path):
    new = levelgain.fork(results, tmp_path / "new", profiles=2)

    assert new.folder == tmp_path / "new"
    assert len(new.start) == min(2, int(results.on_front.sum()))
    front = {tuple(row) for row in results.history.values[results.on_front].tolist()}
    assert {tuple(row) for row in new.start.tolist()} <= front
    with pytest.raises(levelgain.FileError, match="is there already"):
        levelgain.fork(results, tmp_path / "new")
    with pytest.raises(ValueError, match="got 0"):
        levelgain.fork(results, tmp_path / "none", profiles=0)


def test_an_exported_profile_reads_back(results, tmp_path):
    files = levelgain.export(results, folder=tmp_path, formats=["toml"])

    [profile] = [path for path in files if path.suffix == ".toml"]
    assert levelgain.load_profile(profile) == levelgain.profile(results)
    with pytest.raises(levelgain.AlreadyThereError, match="is there already") as refused:
        levelgain.export(results, folder=tmp_path, formats=["toml"])
    assert "--" not in str(refused.value)
    with pytest.raises(ValueError, match="got yaml"):
        levelgain.export(results, folder=tmp_path, formats=["yaml"])


@pytest.mark.parametrize("machine", [{"database": "tcp://x"}, {"database": ""}])
def test_a_machine_that_can_not_be_used_is_named_as_the_argument(study, machine):
    with pytest.raises(levelgain.MachineError, match=r"^database: "):
        levelgain.run(study, candidates=36, **machine)


def test_a_study_and_its_results_show_themselves_in_one_line(study, results):
    assert repr(study).startswith("<Study 'Two borrowers on three short courses' in ")
    assert "2 riders, 3 courses, 6 rides" in repr(study)
    assert "24 candidates" in repr(results)


@pytest.mark.slow
def test_a_validation_tells_its_stages_and_gives_its_facts(tmp_path):
    short_rides = {**TABLES, "riding_day": {"ride_s": 10.0}}
    study = levelgain.new_study(tmp_path / "short", tables=short_rides)
    heard = []

    facts = levelgain.validate(
        study, study.baseline, called="ours", hours=1.0, on_progress=heard.append
    )

    assert facts["called"] == "ours"
    assert facts["overall"] in {"pass", "marginal", "fail"}
    [day] = [item for item in facts["verdicts"] if "riding day" in item["item"]]
    assert 1.0 <= day["numbers"]["hours"] < study.validation.hours
    days = [now for now in heard if "hours" in now.stage]
    assert days[-1].total == 1.0
    assert days[-1].done == pytest.approx(day["numbers"]["hours"])


@pytest.mark.parametrize("name", ["front", "parallel", "rides", "stiffness", "traces"])
def test_a_figure_is_returned_and_shows_itself(results, name):
    figure = getattr(levelgain.figures, name)(results)

    assert isinstance(figure, Figure)
    assert Image.open(io.BytesIO(figure._repr_png_())).width > 500
    assert any("not a ride test" in text.get_text() for text in figure.texts)


def test_drawing_leaves_the_notebooks_own_figures_alone(results):
    import matplotlib as mpl  # noqa: PLC0415  # the settings are read before and after

    before = dict(mpl.rcParams)

    levelgain.figures.front(results)

    assert dict(mpl.rcParams) == before


def test_a_new_study_of_an_own_board_is_that_of_the_command(levelgain_command, tmp_path):
    code, _, _ = levelgain_command(
        "new", tmp_path / "theirs", "--motor-kv", 24, "--cells", 16, "--wheel", 0.26,
        "--riders", "35,70",
    )  # fmt: skip

    study = levelgain.new_study(
        tmp_path / "ours", motor_kv=24.0, cells=16, wheel=0.26, riders=(35.0, 70.0)
    )

    assert code == 0
    assert study.text == (tmp_path / "theirs" / "study.toml").read_text()
    assert study.board.motor.kv_rpm_per_v == 24.0
    with pytest.raises(levelgain.StudyFileError, match="motor_kv: must be a Kv from"):
        levelgain.new_study(tmp_path / "bad", motor_kv=0.1)
    assert not (tmp_path / "bad").exists()
    with pytest.raises(ValueError, match="an example and a board or riders of your own"):
        levelgain.new_study(tmp_path / "bad", example="hill_town", cells=16)


def test_a_new_study_is_an_example_or_the_template_or_tables(tmp_path):
    assert levelgain.new_study(tmp_path / "hill", example="hill_town").title
    assert levelgain.new_study(tmp_path / "first").title
    with pytest.raises(ValueError, match="an example and tables"):
        levelgain.new_study(tmp_path / "both", example="hill_town", tables=TABLES)
    with pytest.raises(levelgain.StudyFileError, match="example: there is no 'hilltown'"):
        levelgain.new_study(tmp_path / "other", example="hilltown")


def test_a_notebook_run_again_reads_the_study_that_it_made_and_no_other(tmp_path):
    for how in ({"tables": TABLES}, {"example": "hill_town"}, {}):
        folder = tmp_path / str(len(how)) / next(iter(how), "template")
        first = levelgain.new_study(folder, **how)

        assert levelgain.new_study(folder, **how).digest == first.digest

        (folder / "study.toml").write_text("# mine\n" + first.text)
        with pytest.raises(levelgain.FileError, match="is there already"):
            levelgain.new_study(folder, **how)
        assert (folder / "study.toml").read_text() == "# mine\n" + first.text


def test_tables_that_are_not_allowed_leave_no_file(tmp_path):
    with pytest.raises(levelgain.StudyFileError, match="seed"):
        levelgain.new_study(tmp_path / "bad", tables=TABLES | {"seed": -1})

    assert not (tmp_path / "bad/study.toml").exists()


def test_every_public_name_is_documented():
    for name in levelgain.__all__:
        public = getattr(levelgain, name)
        assert inspect.getdoc(public), name
    assert sorted(levelgain.__all__) == list(levelgain.__all__)


def test_objectives_are_columns_of_both_tables(results):
    for table in (levelgain.candidates(results), levelgain.front(results)):
        assert set(OBJECTIVES) <= set(table)
