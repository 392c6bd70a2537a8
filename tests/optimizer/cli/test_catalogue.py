"""The commands that show the catalogue and the studies, and write a schema for editors."""

import json
import shutil

from optimizer.execution.asked_candidates import ASKED
from optimizer.execution.store import Store
from optimizer.study.paths import store_path
from tests.optimizer.small_study import write_small_study


def test_the_catalogue_is_shown_from_its_kinds_to_an_entry(levelgain):
    kinds = json.loads(levelgain("catalogue", "--json")[1])
    assert {"boards", "motors", "batteries", "riders", "courses"} <= {row["kind"] for row in kinds}

    code, out, _ = levelgain("catalogue", "motors")
    assert code == 0
    assert "Next: levelgain catalogue motors hub_15" in out

    code, out, _ = levelgain("catalogue", "motors", "hub_15")
    assert code == 0
    assert "3 to 200" in out
    assert "assumed: 30 magnets around the rotor" in out

    code, _, err = levelgain("catalogue", "motors", "hub")
    assert (code, err.count("\n")) == (2, 1)
    assert "'hub_15'" in err


def test_studies_here_are_listed_with_how_far_they_are(levelgain, finished, tmp_path):
    write_small_study(tmp_path / "mine")
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "study.toml").write_text("title = ")

    rows = {row["folder"]: row for row in json.loads(levelgain("list", tmp_path, "--json")[1])}

    assert rows[str(tmp_path / "mine")]["state"] == "not started"
    assert "not valid TOML" in rows[str(tmp_path / "broken")]["state"]
    (done,) = json.loads(levelgain("list", finished, "--json")[1])
    assert (done["candidates"], done["state"]) == (36, "searched")
    stopped = shutil.copytree(finished, tmp_path / "stopped")
    with Store(store_path(stopped)) as store:
        store.keep({ASKED: ""})
    text = (stopped / "study.toml").read_text()
    (stopped / "study.toml").write_text(text.replace("candidates = 36", "candidates = 60"))
    (left,) = json.loads(levelgain("list", stopped, "--json")[1])
    assert (left["candidates"], left["state"]) == (36, "stopped before 60")
    (tmp_path / "empty").mkdir()
    assert "levelgain new my_board" in levelgain("list", tmp_path / "empty")[1]


def test_a_schema_lies_beside_the_study(levelgain, tmp_path):
    folder = write_small_study(tmp_path)

    code, out, _ = levelgain("schema", folder)

    assert code == 0
    assert "#:schema study.schema.json" in out
    assert "$schema" in json.loads((folder / "study.schema.json").read_text())
    assert "--force" in levelgain("schema", folder)[2]
    assert levelgain("schema", folder, "--force")[0] == 0
