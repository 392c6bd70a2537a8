import dataclasses
import io

import numpy as np
import pytest
from rich.console import Console

from optimizer.cli.output.ridelog import print_not_taken
from optimizer.ridelog.fits.robust_fit import Unknown, robust_fit
from optimizer.ridelog.study_from_log import believed, ended_at_bound, ridden_profile

X = np.linspace(0.0, 1.0, 200)
NOISE = np.random.default_rng(3).normal(0.0, 0.01, len(X))


def fitted(name, *, true, low, high):
    """Return the fit of one slope to a noisy straight line."""
    return robust_fit(
        lambda unknown: true * X + NOISE - unknown[0] * X,
        (Unknown(name=name, start=0.5 * (low + high), low=low, high=high),),
        title="Line",
        time_s=X,
        residual_unit="1",
        block_rows=5,
    )


@pytest.fixture
def absent():
    """Return fits of nothing."""
    return {"motor": "no motor", "controller": "no controller"}


def test_a_number_inside_its_bounds_is_believed(absent):
    fits = {**absent, "motor": fitted("kv_rpm_per_v", true=15.0, low=3.0, high=20.0)}

    assert believed(fits)["kv_rpm_per_v"][0] == pytest.approx(15.0, abs=0.05)
    assert ended_at_bound(fits) == {}


@pytest.mark.parametrize(("low", "high", "end"), [(3.0, 12.0, 12.0), (18.0, 25.0, 18.0)])
def test_a_number_at_its_bound_is_named_and_not_believed(absent, low, high, end):
    fits = {**absent, "motor": fitted("kv_rpm_per_v", true=15.0, low=low, high=high)}

    assert believed(fits) == {}
    assert ended_at_bound(fits) == {"kv_rpm_per_v": pytest.approx(end)}
    out = io.StringIO()
    print_not_taken(Console(file=out, width=200), ended_at_bound(fits))
    assert out.getvalue().count("\n") == 1
    assert f"kv_rpm_per_v {end:g}. The catalogue's values stay" in out.getvalue()


def test_a_setting_at_its_bound_leaves_the_profile_as_it_is(absent):
    inside = fitted("base_gain_a_per_deg", true=4.0, low=0.0, high=60.0)
    at_bound = fitted("base_gain_a_per_deg", true=4.0, low=0.0, high=3.0)
    # A profile has less than 1000 A per degree, wherever the fit may look.
    far = dataclasses.replace(inside, value=inside.value + 1e3, low=inside.low + 1e3,
                              high=inside.high + 1e3)  # fmt: skip

    assert ridden_profile({**absent, "controller": inside}) == {
        "base_gain_a_per_deg": pytest.approx(4.0, abs=0.01)
    }
    for fit in (at_bound, far):
        fits = {**absent, "controller": fit}
        assert ridden_profile(fits) == {}
        assert list(ended_at_bound(fits)) == ["base_gain_a_per_deg"]
