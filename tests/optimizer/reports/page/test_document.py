import html
import json
import re

import numpy as np
import pytest
from plotly.offline import get_plotlyjs

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES
from optimizer.analysis.candidate import candidate_profile, ridden_rides, worst_places
from optimizer.base.cautions import CAUTIONS
from optimizer.reports.page import document, page_data, page_document
from optimizer.reports.page.details import candidate_traces, traces_that_fit
from optimizer.reports.page.encoding import packed, quantised
from optimizer.reports.page.facts import detailed_numbers
from optimizer.reports.page.films import POSES, SIGNALS
from optimizer.reports.page.labels import CONSTRAINT_LABELS, LABELS
from plant.kernel.trace import trace
from tests.optimizer.reports.page.unpacking import unpacked, unpacked_signals


@pytest.fixture(scope="module")
def text(facts):
    return page_document(facts)


def test_packed_numbers_come_back_exactly():
    values = np.array([[1.5, np.nan], [np.inf, -(2.0**-30)]])

    np.testing.assert_array_equal(unpacked(packed(values, "f8")), values)


def test_quantised_signals_come_back_within_half_a_step():
    rng = np.random.default_rng(5)
    values = rng.normal(size=(3, 200)) * np.array([[1.0], [100.0], [0.0]])
    values[:, 150:] = np.nan
    found = unpacked_signals(quantised(values))

    span = np.nanmax(values, axis=1) - np.nanmin(values, axis=1)
    assert np.array_equal(np.isnan(found), np.isnan(values))
    assert np.all(np.nanmax(np.abs(found - values), axis=1) <= span / 131_068 * 1.001 + 1e-15)


def test_a_signal_without_a_value_stays_without():
    assert np.isnan(unpacked_signals(quantised(np.full((1, 4), np.nan)))).all()


def test_every_constraint_and_descriptor_has_words():
    assert set(CONSTRAINT_LABELS) == set(CONSTRAINT_NAMES)
    assert set(DESCRIPTOR_NAMES) - set(LABELS) == {"worst_ride"}


def test_the_page_says_every_caution(text):
    plain = html.unescape(text)
    assert all(caution in plain for caution in CAUTIONS)


def test_the_page_asks_for_nothing_from_outside(text):
    own = html.unescape(text.replace(get_plotlyjs(), ""))

    assert not re.search(r"(src|href)=[\"']?(https?:)?//", own)
    assert "connect-src 'none'" in own
    assert len(text.encode()) < document.MAX_BYTES


def test_what_comes_from_files_can_not_end_the_data(text):
    data = re.search(r'<script type="application/json" id="study-data">(.*?)</script>', text)

    assert "borrowers</b> </script>" in json.loads(data[1])["title"]
    assert "<" not in data[1]


def test_the_same_study_gives_the_same_page(results, text):
    assert page_document(page_data(results)) == text


@pytest.fixture(scope="module")
def ridden(results, facts):
    """Return what the page has of a worst ride, and the same from the plant."""
    number = results.picks["balanced"]
    place = worst_places(results, number)[0]
    again = trace(
        candidate_profile(results, number), ridden_rides(results, number)[place], every_steps=20
    )
    return facts["traces"][str(number)][str(place)], again


def test_the_stored_signals_are_those_of_the_plant(ridden):
    stored, again = ridden
    found = dict(zip(SIGNALS, unpacked_signals(stored["signals"]), strict=True))

    for name in ("pitch_deg", "current_a", "speed_mps", "warning_lift_deg"):
        expected = getattr(again, name)
        step = np.nanmax(np.abs(expected)) / 30_000 + 1e-12
        np.testing.assert_allclose(found[name], expected, atol=step)


def test_the_stored_side_view_has_the_plants_angles_every_second_sample(ridden):
    stored, again = ridden
    found = dict(zip(POSES, unpacked_signals(stored["poses"]), strict=True))

    np.testing.assert_allclose(found["pitch_deg"], again.pitch_deg[1::2], atol=1e-3)
    np.testing.assert_allclose(found["lean_deg"], again.lean_deg[1::2], atol=1e-3)
    assert stored["n_frames"] == np.isfinite(again.pitch_deg[1::2]).sum()
    assert stored["ended"] == again.outcome.message


def test_a_ride_simulated_again_is_the_same(results, facts):
    number = results.picks["balanced"]
    place = worst_places(results, number)[0]

    assert candidate_traces(results, number, [place]) == {
        str(place): facts["traces"][str(number)][str(place)]
    }


def test_traces_stop_where_the_room_does(results):
    numbers = detailed_numbers(results)
    all_of_them = traces_that_fit(results, numbers, n_bytes=10**9)
    some = traces_that_fit(results, numbers, n_bytes=len(json.dumps(all_of_them)) // 2)

    assert len(all_of_them) == len(numbers)
    assert 0 < len(some) < len(all_of_them)
    assert len(json.dumps(some)) <= len(json.dumps(all_of_them)) // 2 + 1000


def test_the_worst_ride_is_the_one_the_tables_name(results, facts):
    for number in facts["details"]["numbers"]:
        worst = facts["details"]["worst"][str(number)][0]
        assert worst == results.descriptors[number, DESCRIPTOR_NAMES.index("worst_ride")]


def test_the_history_ends_with_all_that_were_ridden_and_a_front_that_only_grows(results, facts):
    ridden, volume = (unpacked(facts["history"][name]) for name in ("n_ridden", "volume_ratio"))

    assert ridden[-1] == len(results)
    assert np.all(np.diff(volume) >= 0.0)
