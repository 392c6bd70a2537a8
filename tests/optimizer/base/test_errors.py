import pytest

from optimizer.analysis.results import candidate_number, read_results
from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import (
    AlreadyStartedError,
    CandidateError,
    FileError,
    LogError,
    NotStartedError,
    ProfileError,
    StoreError,
    StudyFileError,
    UserInputError,
    caused_by,
)
from optimizer.execution.run import refuse_not_started, refuse_started
from optimizer.execution.store import Store, read_table
from optimizer.study.load import load_profile, load_study
from optimizer.study.log_data.mapping import load_mapping
from tests.optimizer.small_study import searched, write_small_study


def test_a_study_file_has_its_error_whatever_function_found_the_fault(tmp_path):
    folder = write_small_study(tmp_path, ('"lender_15"', '"lender_99"'))

    for broken in (folder, tmp_path / "nowhere"):
        with pytest.raises(StudyFileError):
            load_study(broken)


def test_a_file_that_is_no_profile_has_its_error(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("[stiffness]\nbase_gain_a_per_deg = 4.0\n")

    with pytest.raises(ProfileError, match=r"mine\.toml"):
        load_profile(path)


def test_a_mapping_that_is_missing_is_an_error_of_the_log(tmp_path):
    with pytest.raises(LogError, match="no such file"):
        load_mapping(tmp_path / "ride.mapping.toml")


def test_a_study_not_started_and_one_started_already_have_their_errors(tmp_path):
    study = load_study(write_small_study(tmp_path))
    with pytest.raises(NotStartedError):
        refuse_not_started(study)
    with pytest.raises(NotStartedError):
        read_results(study)

    with Store(tmp_path / "store.sqlite"):
        pass

    with pytest.raises(AlreadyStartedError):
        refuse_started(study)


def test_a_damaged_store_and_one_in_use_are_errors_of_the_store(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store(path), pytest.raises(StoreError, match="another run"), Store(path):
        pass
    path.write_bytes(b"something else" * 100)

    with pytest.raises(StoreError, match="not a study store"):
        read_table(path)


def test_a_candidate_that_is_not_there_has_its_error(tmp_path):
    results = read_results(searched(write_small_study(tmp_path), 12))

    for missing in ("999", "sportiest"):
        with pytest.raises(CandidateError):
            candidate_number(results, missing)


def test_a_file_that_is_there_already_has_its_error(tmp_path):
    path = tmp_path / "there.csv"
    path.touch()

    with pytest.raises(FileError, match="is there already"):
        refuse_existing([path], advice="name another")


def test_a_cause_that_is_named_already_is_kept_with_its_message():
    with pytest.raises(ProfileError, match="its own"), caused_by(StudyFileError):
        raise ProfileError("its own")


def test_a_fault_of_the_program_is_given_no_cause():
    with pytest.raises(ValueError, match="a fault") as fault, caused_by(StudyFileError):
        raise ValueError("a fault")

    assert not isinstance(fault.value, UserInputError)
