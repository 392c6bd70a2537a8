import shutil
from pathlib import Path

import pytest

import objectives
import plant
from optimizer import riding_day
from optimizer.base.errors import UserInputError
from optimizer.execution.provenance import model_digest, ride_inputs
from optimizer.execution.store import Store
from optimizer.study.load import load_study
from tests.optimizer.analytic import SMALL_BASELINE, narrow
from tests.optimizer.small_study import write_small_study

MODULE = '''"""Rolling."""

GRAVITY = 9.8  # m/s2


def force(mass, slope=0.0):
    """Return the force in N."""
    return mass * (GRAVITY + slope)
'''


@pytest.fixture
def model(tmp_path, monkeypatch):
    """Return a folder with a copy of the model's sources, from which the digest is now taken."""
    for package in (plant, objectives, riding_day):
        copy = tmp_path / "installed" / package.__name__
        shutil.copytree(package.__path__[0], copy, ignore=shutil.ignore_patterns("__pycache__"))
        monkeypatch.setattr(package, "__path__", [str(copy)])
    model_digest.cache_clear()
    (tmp_path / "installed" / "plant" / "rolling.py").write_text(MODULE)
    yield tmp_path / "installed"
    model_digest.cache_clear()


def test_what_draws_the_hard_rides_belongs_to_the_model(model):
    before = model_digest()

    after = digest_after(
        model, "_GUST_S = 2.5", "_GUST_S = 2.6", module="optimizer.riding_day/drawn_course.py"
    )

    assert after != before


def digest_after(model: Path, old: str, new: str, module="plant/rolling.py") -> str:
    """Return the model's digest after one text of a module was replaced."""
    source = model / module
    text = source.read_text()
    assert old in text
    source.write_text(text.replace(old, new))
    model_digest.cache_clear()
    return model_digest()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("  # m/s2", "  # standard gravity, in m/s2"),
        ('"""Rolling."""', '"""What rolling takes."""'),
        ('    """Return the force in N."""\n', ""),
        ("    return", '    """Uphill is positive."""\n\n    # Both resist.\n    return'),
        ("mass * (GRAVITY + slope)", "(\n        mass\n        * (GRAVITY + slope)\n    )"),
    ],
)
def test_what_only_explains_the_model_leaves_its_digest(model, old, new):
    before = model_digest()

    assert digest_after(model, old, new) == before


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("9.8", "9.81"),
        ("9.8", "9"),
        ("GRAVITY + slope", "GRAVITY - slope"),
        ("mass * (GRAVITY + slope)", "mass * GRAVITY + slope"),
        ("slope=0.0", "slope=0.01"),
        ("slope=0.0", "slope"),
        ("def force", "def push"),
        ("\n\ndef force", "\n\ndef weight(mass):\n    return mass * GRAVITY\n\n\ndef force"),
    ],
)
def test_what_changes_the_model_changes_its_digest(model, old, new):
    before = model_digest()

    assert digest_after(model, old, new) != before


def test_a_kept_digest_that_is_damaged_is_found_anew(model, tmp_path, monkeypatch):
    monkeypatch.setattr("optimizer.execution.kept_texts.CACHE_FOLDER", tmp_path / "cache" / "code")
    found = model_digest()
    [kept] = (tmp_path / "cache" / "model_digest").iterdir()
    whole = kept.read_text()

    for damaged in ('"', '""', "null", whole[:40] + '"', whole.replace(whole[5], "x")):
        kept.write_text(damaged)
        model_digest.cache_clear()

        assert model_digest() == found
        assert kept.read_text() == whole


def test_a_module_under_another_name_is_another_model(model):
    before = model_digest()

    (model / "plant" / "rolling.py").rename(model / "plant" / "resistance.py")
    model_digest.cache_clear()

    assert model_digest() != before


def test_a_study_goes_on_after_a_comment_of_the_plant_but_not_after_a_constant(model, tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    with Store(tmp_path / "store.sqlite") as store:
        store.freeze(ride_inputs(study))
        store.append(0, SMALL_BASELINE[None], narrow(SMALL_BASELINE[None]))

        digest_after(model, "\n", "\n# A remark.\n", "plant/physics/battery.py")
        store.freeze(ride_inputs(study))
        digest_after(model, "9.8", "9.81")
        with pytest.raises(UserInputError, match=r"model\.digest differs"):
            store.freeze(ride_inputs(study))
