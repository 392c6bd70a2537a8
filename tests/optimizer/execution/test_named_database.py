"""A database that a study file names is used once the user has agreed to it."""

import pytest

from optimizer.base.errors import MachineError
from optimizer.cli import database_question
from optimizer.cli.database_question import agreed_database
from optimizer.execution.named_database import agreed_file, database_of
from optimizer.study.load import load_study
from tests.optimizer.small_study import write_small_study

NAMED = "postgresql://rider@127.0.0.1:1/board"


@pytest.fixture(autouse=True)
def settings_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    monkeypatch.delenv("LEVELGAIN_TRUST_DATABASE", raising=False)


@pytest.fixture
def study(tmp_path):
    return load_study(
        write_small_study(tmp_path / "study", ("seed = 11", f'seed = 11\ndatabase = "{NAMED}"'))
    )


@pytest.fixture
def terminal(monkeypatch):
    """Return the questions that are asked in a terminal; each is answered by the list's end."""
    asked, answers = [], []

    def confirm(text, **_):
        asked.append(text)
        return answers.pop()

    for stream in ("stdin", "stderr"):
        monkeypatch.setattr(f"sys.{stream}.isatty", lambda: True, raising=False)
    monkeypatch.setattr(database_question.typer, "confirm", confirm)
    return asked, answers


def test_nothing_is_sent_to_a_database_nobody_agreed_to(study, levelgain):
    for verb in ("run", "run"):
        code, _, refused = levelgain(verb, study.folder)

        assert code == 2
        assert refused.count("\n") == 1
        assert f"database: names {NAMED}" in refused
        assert "--trust-database" in refused
    assert not agreed_file().exists()
    assert not (study.folder / "store.sqlite").exists()


@pytest.mark.parametrize("by_environment", [False, True])
def test_an_option_or_the_environment_agrees_for_good(
    study, levelgain, monkeypatch, by_environment
):
    used = []
    monkeypatch.setattr(
        "optimizer.cli.search_session.search", lambda _, database, **__: used.append(database)
    )
    if by_environment:
        monkeypatch.setenv("LEVELGAIN_TRUST_DATABASE", "1")

    levelgain("run", study.folder, *([] if by_environment else ["--trust-database"]))
    monkeypatch.delenv("LEVELGAIN_TRUST_DATABASE", raising=False)
    levelgain("run", study.folder)

    assert used == [NAMED, NAMED]
    assert agreed_file().read_text() == f"{NAMED}\n"


def test_a_terminal_is_asked_once(study, terminal):
    asked, answers = terminal
    answers.append(True)

    assert [agreed_database(study, None, trusted=False) for _ in range(2)] == [NAMED, NAMED]

    (question,) = asked
    assert NAMED in question
    assert "password" in question


def test_a_no_is_one_line_and_is_asked_again(study, terminal):
    asked, answers = terminal
    answers.extend([False, False])

    for _ in range(2):
        with pytest.raises(MachineError, match="names postgresql://rider@"):
            agreed_database(study, None, trusted=False)

    assert len(asked) == 2
    assert not agreed_file().exists()


def test_another_user_host_or_option_is_another_database(study, tmp_path):
    agreed_database(study, None, trusted=True)

    for other in ("postgresql://walker@127.0.0.1:1/board", f"{NAMED}?host=elsewhere"):
        folder = write_small_study(
            tmp_path / "other", ("seed = 11", f'seed = 11\ndatabase = "{other}"')
        )
        with pytest.raises(MachineError, match="names postgresql://"):
            database_of(load_study(folder), None)


def test_an_address_that_the_user_gives_is_not_asked_about(study):
    other = "postgresql://host/mine"

    assert database_of(study, other) == other
    assert agreed_database(study, other, trusted=False) == other
    assert database_of(study, "") == ""
