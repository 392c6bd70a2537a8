import sys

import pytest

from optimizer.cli import app as cli


@pytest.fixture
def levelgain(monkeypatch, capsys, results):
    """Return a function that runs a command on the study and gives exit code, output and errors."""

    def run(command, *arguments):
        folder = results.study.folder
        monkeypatch.setattr(sys, "argv", ["levelgain", command, str(folder), *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        said = capsys.readouterr()
        return ended.value.code or 0, said.out, said.err

    return run


def test_the_page_is_written_into_the_results_and_again_when_asked(levelgain, results):
    path = results.study.folder / "results" / "page.html"

    assert levelgain("page")[0] == 0
    first = path.read_bytes()
    code, out, _ = levelgain("page")

    assert code == 0
    assert "local law" in out.lower()
    assert path.read_bytes() == first


def test_a_candidate_off_the_front_can_be_told_in_full(levelgain, results, tmp_path):
    number = next(n for n in range(1, len(results)) if not results.on_front[n])
    levelgain("page", "--with", number, "--to", tmp_path / "page.html")
    text = (tmp_path / "page.html").read_text()

    assert f'"numbers":[0,{number},' in text
    assert f'"{number}":{{' in text[text.index('"traces"') :]


def test_a_file_of_the_users_own_is_not_replaced_unasked(levelgain, tmp_path):
    path = tmp_path / "page.html"
    path.write_text("mine")
    code, _, err = levelgain("page", "--to", path)

    assert (code, path.read_text()) == (2, "mine")
    assert "--force" in err
    assert levelgain("page", "--to", path, "--force")[0] == 0


def test_an_unknown_candidate_is_one_line_and_nothing_is_written(levelgain, tmp_path):
    code, out, err = levelgain("page", "--with", "999999", "--to", tmp_path / "page.html")

    assert (code, out, err.count("\n")) == (2, "", 1)
    assert list(tmp_path.iterdir()) == []
