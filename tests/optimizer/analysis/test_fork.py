"""A new study starts from another's candidates, with whatever the user changes."""

import dataclasses
from unittest.mock import Mock

import numpy as np
import pytest

from optimizer.analysis import fork as forking
from optimizer.analysis.fork import fork, starting_from
from optimizer.analysis.results import read_results
from optimizer.base.errors import UserInputError
from optimizer.base.toml_io import parse_toml
from optimizer.cli import main
from optimizer.study.load import load_study
from tests.optimizer.small_study import SMALL_STUDY, searched, write_small_study


def run(folder, n_candidates=12):
    return read_results(searched(folder, n_candidates))


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    return run(write_small_study(tmp_path_factory.mktemp("old") / "study"), 24)


def change(folder, *changes):
    text = (folder / "study.toml").read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    (folder / "study.toml").write_text(text, encoding="utf-8")


def test_the_first_generation_is_the_baseline_and_the_old_front(old, tmp_path):
    taken = fork(old, tmp_path / "new", n_profiles=5)
    change(tmp_path / "new", ('"baker_80"', '"clerk_62"'))

    new = run(tmp_path / "new")

    assert taken == min(5, int(old.on_front.sum()))
    front = {tuple(row) for row in old.history.values[old.on_front].tolist()}
    np.testing.assert_array_equal(new.history.values[0], old.history.values[0])
    assert {tuple(row) for row in new.history.values[1 : 1 + taken].tolist()} <= front
    assert new.study.riders.keys() == {"pupil_40", "clerk_62"}


def test_every_candidate_goes_along_unless_only_the_best_are_asked_for(old, tmp_path):
    assert fork(old, tmp_path / "new") == len(old) - 1

    start = load_study(tmp_path / "new").start

    assert start.tobytes() == old.searched.values[1:].tobytes()


def test_without_a_front_every_candidate_goes_along_but_there_is_no_best(old, tmp_path):
    nobody = dataclasses.replace(old, on_front=np.zeros(len(old), dtype=bool))

    with pytest.raises(
        UserInputError, match=r"there is no front to start from.*not the best alone"
    ):
        fork(nobody, tmp_path / "best", n_profiles=5)
    assert not (tmp_path / "best").exists()
    assert fork(nobody, tmp_path / "all") == len(old) - 1


def test_a_start_file_of_another_name_is_replaced_under_that_name(old, tmp_path):
    text = old.study.text.replace("[search]\n", '[search]\nstart = "mine.csv"\n')
    named = dataclasses.replace(old, study=dataclasses.replace(old.study, text=text))

    fork(named, tmp_path / "new", n_profiles=5)

    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == [
        "mine.csv", "ridden.npz", "study.toml",
    ]  # fmt: skip
    assert len(load_study(tmp_path / "new").start) > 0


def elsewhere(old, folder, named=""):
    """Return the results as if their study lay in another folder and named more files."""
    (folder / "rides").mkdir(parents=True, exist_ok=True)
    (folder / "store.sqlite").write_bytes((old.study.folder / "store.sqlite").read_bytes())
    text = f"{old.study.text}[riding_day]\nroute = [{named}]\n" if named else old.study.text
    study = dataclasses.replace(old.study, folder=folder, text=text)
    return dataclasses.replace(old, study=study)


def test_files_that_the_study_does_not_name_stay_behind(old, tmp_path):
    results = elsewhere(old, tmp_path / "old", '{ file = "hill.gpx" }')
    for name in ("hill.gpx", "other.gpx", "diary.txt", "notes.md"):
        (tmp_path / "old" / name).write_text("x")

    fork(results, tmp_path / "new", n_profiles=5)

    found = {path.name for path in (tmp_path / "new").iterdir()}
    assert found == {"hill.gpx", "start.csv", "ridden.npz", "study.toml"}


@pytest.mark.parametrize("linked", ["rides/lane.gpx", "rides"])
def test_a_link_out_of_the_folder_is_refused_and_nothing_is_written(old, tmp_path, linked):
    results = elsewhere(old, tmp_path / "old", '{ file = "rides/lane.gpx" }')
    (tmp_path / "private").mkdir()
    (tmp_path / "private" / "lane.gpx").write_text("of somebody else")
    if linked == "rides":
        (tmp_path / "old" / "rides").rmdir()
        (tmp_path / "old" / "rides").symlink_to(tmp_path / "private")
    else:
        (tmp_path / "old" / linked).symlink_to(tmp_path / "private" / "lane.gpx")

    with pytest.raises(UserInputError, match=r"lane\.gpx: is a link out of the study's folder"):
        fork(results, tmp_path / "new", n_profiles=5)
    assert not (tmp_path / "new").exists()


def test_a_link_within_the_folder_goes_along_as_content(old, tmp_path):
    results = elsewhere(old, tmp_path / "old", '{ file = "lane.gpx" }')
    (tmp_path / "old" / "rides" / "monday.gpx").write_text("track")
    (tmp_path / "old" / "lane.gpx").symlink_to(tmp_path / "old" / "rides" / "monday.gpx")

    fork(results, tmp_path / "new", n_profiles=5)

    assert not (tmp_path / "new" / "lane.gpx").is_symlink()
    assert (tmp_path / "new" / "lane.gpx").read_text() == "track"


def test_a_path_up_is_refused_where_it_means_another_file_from_the_new_folder(old, tmp_path):
    results = elsewhere(old, tmp_path / "old", '{ file = "../roads/lane.gpx" }')
    (tmp_path / "roads").mkdir()
    (tmp_path / "roads" / "lane.gpx").write_text("track")

    with pytest.raises(UserInputError, match=r"names '\.\./roads/lane\.gpx', which seen from"):
        fork(results, tmp_path / "deep" / "new", n_profiles=5)
    fork(results, tmp_path / "new", n_profiles=5)

    assert len([path for path in tmp_path.rglob("lane.gpx") if path.is_file()]) == 1


def test_a_file_named_by_its_whole_path_stays_where_it_is(old, tmp_path):
    results = elsewhere(old, tmp_path / "old", f'{{ file = "{tmp_path}/lane.gpx" }}')
    (tmp_path / "lane.gpx").write_text("track")

    fork(results, tmp_path / "new", n_profiles=5)

    assert not (tmp_path / "new" / "lane.gpx").exists()


def test_a_fork_that_was_killed_can_be_repeated(old, tmp_path, monkeypatch):
    with monkeypatch.context() as killed:
        killed.setattr(forking, "write_ridden", Mock(side_effect=KeyboardInterrupt))
        killed.setattr("optimizer.base.unfinished.shutil.rmtree", Mock())  # as nothing tidies up
        with pytest.raises(KeyboardInterrupt):
            fork(old, tmp_path / "new", n_profiles=5)
    (left,) = tmp_path.iterdir()
    assert left.name != "new"
    assert any(left.iterdir())

    fork(old, tmp_path / "new", n_profiles=5)

    assert [path.name for path in tmp_path.iterdir()] == ["new"]
    assert load_study(tmp_path / "new").start.shape[0] > 0


def test_a_folder_that_is_there_keeps_what_it_has(old, tmp_path):
    (tmp_path / "notes.md").write_text("mine")

    fork(old, tmp_path, n_profiles=5)

    assert (tmp_path / "notes.md").read_text() == "mine"
    assert load_study(tmp_path).start.shape[0] > 0


@pytest.mark.parametrize("name", ["start.csv", "rides"])
def test_nothing_in_a_folder_is_replaced(old, tmp_path, name):
    results = elsewhere(old, tmp_path / "old", '{ file = "rides/lane.gpx" }')
    (tmp_path / "old" / "rides" / "lane.gpx").write_text("track")
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / name).write_text("mine")

    with pytest.raises(UserInputError, match="is there already; name a new folder"):
        fork(results, tmp_path / "new", n_profiles=5)

    assert [path.name for path in (tmp_path / "new").iterdir()] == [name]


def test_a_file_that_the_study_names_goes_along_whatever_it_is_called(old, tmp_path):
    with_files = tmp_path / "old"
    (with_files / "rides").mkdir(parents=True)
    (with_files / "store.sqlite").write_bytes((old.study.folder / "store.sqlite").read_bytes())
    named = {"columns.toml", "rides/monday.CSV", "rides/monday.mapping.toml", "rides/lane.gpx"}
    for name in (*named, "other.toml"):
        (with_files / name).write_text("x")
    text = (
        old.study.text + '[riding_day]\nroute = [{ file = "rides/lane.gpx" }]\n'
        'log = { file = "rides/monday.CSV", mapping = "columns.toml" }\n'
    )
    study = dataclasses.replace(old.study, folder=with_files, text=text)

    fork(dataclasses.replace(old, study=study), tmp_path / "new", n_profiles=5)

    new = tmp_path / "new"
    found = {path.relative_to(new).as_posix() for path in new.rglob("*") if path.is_file()}
    assert found == named | {"start.csv", "ridden.npz", "study.toml"}


def test_a_start_file_elsewhere_is_refused(old, tmp_path):
    text = old.study.text.replace("[search]\n", '[search]\nstart = "../mine.csv"\n')
    named = dataclasses.replace(old, study=dataclasses.replace(old.study, text=text))

    with pytest.raises(UserInputError, match=r"search\.start: must name a file beside the study"):
        fork(named, tmp_path / "new")


def test_profiles_outside_narrower_bounds_stay_behind(old, tmp_path):
    fork(old, tmp_path / "new", n_profiles=24)
    column = old.study.space.names.index("base_gain_a_per_deg")
    gains = old.history.values[old.on_front][:, column]
    middle = float(np.median(gains))
    low, high = min(3.0, middle), max(4.0, middle)
    change(
        tmp_path / "new",
        ("[search]\n", f"[search]\nbounds.base_gain_a_per_deg = [{low}, {high}]\n"),
    )

    start = load_study(tmp_path / "new").start

    assert len(start) > 0
    assert np.all((start[:, column] >= low) & (start[:, column] <= high))


def test_bounds_that_leave_no_profile_are_refused(old, tmp_path):
    fork(old, tmp_path / "new", n_profiles=24)
    change(
        tmp_path / "new",
        ("[search]\n", "[search]\nbounds.turn_gain_deg_per_mps2 = [0.29999, 0.30001]\n"),
    )
    column = old.study.space.names.index("turn_gain_deg_per_mps2")
    rows = (tmp_path / "new" / "start.csv").read_text().splitlines()
    kept = [rows[0], *(row for row in rows[1:] if abs(float(row.split(",")[column]) - 0.3) > 1e-4)]
    (tmp_path / "new" / "start.csv").write_text("\n".join(kept) + "\n")

    with pytest.raises(UserInputError, match=r"none of the .* lies inside the searched bounds"):
        load_study(tmp_path / "new")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "must hold a header and at least one profile"),
        ("base_gain\n3.0\n", "a profile has no 'base_gain'; the nearest is 'base_gain_a_per_deg'"),
        ("base_gain_a_per_deg\nsoft\n", "line 2: must be a finite number, got 'soft'"),
        ("base_gain_a_per_deg\nnan\n", "line 2: must be a finite number"),
        ("base_gain_a_per_deg,inner_band_deg\n3.0\n", "line 2: must hold 2 numbers, got 1"),
    ],
)
def test_a_bad_start_file_is_refused_in_one_line(tmp_path, text, message):
    folder = write_small_study(tmp_path, ("[search]\n", '[search]\nstart = "start.csv"\n'))
    (folder / "start.csv").write_text(text, encoding="utf-8")

    with pytest.raises(UserInputError) as caught:
        load_study(folder)

    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_start_is_frozen_into_the_study(old, tmp_path):
    fork(old, tmp_path / "new")
    run(tmp_path / "new")
    start = tmp_path / "new" / "start.csv"
    start.write_text("\n".join(start.read_text().splitlines()[:3]) + "\n")

    with pytest.raises(UserInputError, match="differs from what this study was started with"):
        run(tmp_path / "new", 24)


@pytest.mark.parametrize(
    "text",
    [
        SMALL_STUDY,
        SMALL_STUDY.replace("[search]", "[search] # how much"),
        SMALL_STUDY.split("[search]")[0],
        SMALL_STUDY.replace("[search]\n", '[search]\nstart = "start.csv"\n'),
    ],
)
def test_the_start_is_put_into_any_study_file(tmp_path, text):
    forked = parse_toml(starting_from(text, path=tmp_path), path=tmp_path)

    assert forked["search"]["start"] == "start.csv"
    before = parse_toml(text, path=tmp_path)
    before.setdefault("search", {})["start"] = "start.csv"
    assert forked == before


@pytest.mark.parametrize(
    "head",
    [
        "search.candidates = 12\n",
        'title = """\n[search]\nfor a better profile"""\n',
    ],
)
def test_a_table_that_no_line_can_be_put_into_says_what_to_do(tmp_path, head):
    text = f"{head}\n[board]\nuse = 'lender_15'\n"

    with pytest.raises(UserInputError, match=r"must stand as a table \[search\]"):
        starting_from(text, path=tmp_path / "study.toml")


def test_the_command_does_not_replace_a_study(old, tmp_path, monkeypatch, capsys):
    folder = write_small_study(tmp_path / "there")
    monkeypatch.setattr("sys.argv", ["levelgain", "fork", str(old.study.folder), str(folder)])
    with pytest.raises(SystemExit) as stopped:
        main()

    assert stopped.value.code == 2
    assert "name a new folder" in capsys.readouterr().err


def test_other_weights_only_weigh_anew(old, tmp_path):
    folder = old.study.folder
    change(
        folder, ("[search]\n", "[objectives.weights]\nnose_downs_per_1000_km = 50.0\n\n[search]\n")
    )

    again = read_results(load_study(folder))

    np.testing.assert_array_equal(again.history.objectives, old.history.objectives)
    assert not np.array_equal(again.weighted_cost, old.weighted_cost)
