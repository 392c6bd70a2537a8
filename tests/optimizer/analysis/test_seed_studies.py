import shutil

import pytest

from optimizer.analysis.seed_studies import seed_studies, seeded
from optimizer.base.errors import StoreError, StudyFileError, UserInputError
from optimizer.base.toml_io import parse_toml
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.small_study import SMALL_STUDY, write_small_study

LINE = (
    "\n[baseline]",
    '\n[courses.line]\nuse = "cobbles"\ntitle = "A line of heights"\n'
    'road.elevation = { file = "roads/line.csv" }\n\n[baseline]',
)


def test_each_seed_is_the_study_with_that_seed_in_a_folder_of_its_own(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    wanted = [
        load_study(write_small_study(tmp_path / seed, ("seed = 11", f"seed = {seed}")))
        for seed in ("11", "12", "13")
    ]

    found = seed_studies(study, n_seeds=3, n_candidates=24)

    folders = [tmp_path / "study" / "seeds" / seed for seed in ("11", "12", "13")]
    assert [each.folder for each in found] == folders
    assert [each.digest for each in found] == [each.digest for each in wanted]
    assert [load_study(folder).digest for folder in folders] == [each.digest for each in wanted]
    assert {each.n_candidates for each in found} == {24}
    again = seed_studies(study, n_seeds=2, n_candidates=24)
    assert [each.digest for each in again] == [each.digest for each in found[:2]]


def test_the_files_that_a_study_names_go_along(tmp_path):
    folder = write_small_study(tmp_path / "study", LINE)
    (folder / "roads").mkdir()
    heights = "".join(f"{10 * place},{0.1 * place}\n" for place in range(200))
    (folder / "roads" / "line.csv").write_text(f"distance_m,height_m\n{heights}")

    found = seed_studies(load_study(folder), n_seeds=2)

    assert (found[1].folder / "roads" / "line.csv").is_file()
    assert load_study(found[1].folder).digest == found[1].digest


def test_the_study_itself_serves_where_it_holds_as_many_candidates(finished, tmp_path):
    folder = shutil.copytree(finished, tmp_path / "study")

    assert seed_studies(load_study(folder), n_seeds=2)[0].folder == folder
    fewer = seed_studies(load_study(folder), n_seeds=2, n_candidates=24)
    assert fewer[0].folder == folder / "seeds" / "11"


def test_a_folder_of_another_study_or_of_more_candidates_is_refused(finished, tmp_path):
    folder = write_small_study(tmp_path / "study")
    study = load_study(folder)
    seed_studies(study, n_seeds=2)
    shutil.copy(finished / "store.sqlite", store_path(folder / "seeds" / "11"))

    with pytest.raises(StoreError, match="36 candidates, more than the 24 wanted"):
        seed_studies(study, n_seeds=2, n_candidates=24)
    changed = load_study(write_small_study(folder, ("= 0.5", "= 0.6")))
    with pytest.raises(StudyFileError, match="is another study than"):
        seed_studies(changed, n_seeds=2)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"n_seeds": 1}, "seeds: must be from 2 to 100, got 1"),
        ({"n_seeds": 101}, "got 101"),
        ({"n_seeds": 3, "n_candidates": 0}, "candidates: must be from 1"),
    ],
)
def test_numbers_that_can_not_be_are_refused_before_a_folder_is_made(tmp_path, asked, said):
    study = load_study(write_small_study(tmp_path))

    with pytest.raises(UserInputError, match=said):
        seed_studies(study, **asked)

    assert [path.name for path in tmp_path.iterdir()] == ["study.toml"]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("seed = 11\n", "seed = 5\n"),
        ("seed=1_1   # of chance\n", "seed = 5   # of chance\n"),
        ("", "seed = 5\n"),
    ],
)
def test_the_seed_alone_is_replaced(tmp_path, old, new):
    text = SMALL_STUDY.replace("seed = 11\n", old)

    changed = seeded(text, 5, path=tmp_path)

    assert new in changed
    assert parse_toml(changed, path=tmp_path) == parse_toml(text, path=tmp_path) | {"seed": 5}


@pytest.mark.parametrize("written", ['"seed" = 11', 'title = """\nseed = 3\n"""\nseed = 11'])
def test_a_seed_that_is_written_otherwise_is_refused(tmp_path, written):
    with pytest.raises(StudyFileError, match="must stand on a line of its own"):
        seeded(f"{written}\n[search]\n", 5, path=tmp_path)
