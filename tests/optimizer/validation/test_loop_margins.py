"""The verdict on the margins is that of the worst of them, at any speed, rider and draw."""

import math

import numpy as np
import pytest

from optimizer.validation import loop_margins as module
from optimizer.validation.loop_margins import SPEEDS_MPS, judge_margins
from optimizer.validation.recoverable_pitch import RecoverablePitch
from optimizer.validation.verdict import Grade
from plant.linear.balance_loop import loop_gains
from plant.linear.margins import Margins
from tests.optimizer.validation.profiles import ROW, STUDY

SETTINGS = STUDY.settings
N_POINTS = loop_gains(ROW[None, :]).stiffness_a_per_deg.shape[1]
# Each margin at a share of what the study asks of it; gains on a logarithmic scale.
AT_SHARE = {
    "modulus": lambda share: share / SETTINGS.sensitivity_limit,
    "phase_deg": lambda share: share * SETTINGS.phase_margin_deg,
    "gain_up_ratio": lambda share: SETTINGS.gain_margin_ratio**share,
    "gain_down_ratio": lambda share: SETTINGS.gain_margin_ratio**-share,
}


def invented_margins(n_riders, **of_one):
    """Return twice what is asked for every gain and rider but one, which has other numbers."""
    numbers = {name: at(2.0) for name, at in AT_SHARE.items()} | {"delay_s": 0.02, "n_unstable": 0}
    arrays = {name: np.full((1, N_POINTS, n_riders), value) for name, value in numbers.items()}
    for name, value in of_one.items():
        arrays[name][0, 0, -1] = value
    return Margins(**arrays)


@pytest.fixture
def judged(monkeypatch):
    """Return a function that judges margins of which some at one speed or in one draw differ.

    Its `asked` holds the least gains and the speeds at which the current was looked at.
    """

    def judge(*, at=None, balanced_deg=math.inf, **of_one):
        pack = RecoverablePitch(
            pack="low",
            charge_ratio=0.15,
            balanced_deg=balanced_deg,
            answered_deg=5.0,
            driving_left_a=50.0,
            braking_left_a=50.0,
            worst_mps=8.0,
            warned_from_mps=math.inf,
        )
        boards = [*[STUDY.board] * 3, None]  # the last draw's stands for the one that differs
        people = {"one": (STUDY.riders["baker_80"],), "other": (STUDY.riders["smith_105"],)}

        def plant(board, riders, *, speeds_mps):
            if board is None:
                judge.drawn_at = tuple(speeds_mps)
            place = "draw" if board is None else speeds_mps[0] if len(speeds_mps) == 1 else None
            return place, len(riders)

        def margins(of_plant, _gains):
            place, n_riders = of_plant
            return invented_margins(n_riders, **(of_one if place == at else {}))

        def packs(_study, _row, least_gains, *, speeds_mps):
            judge.asked = least_gains, speeds_mps
            return [pack]

        for name, stand_in in (
            ("loop_plant", plant),
            ("loop_margins", margins),
            ("tolerance_draws", lambda _study: [(board, people) for board in boards]),
            ("recoverable_pitches", packs),
        ):
            monkeypatch.setattr(module, name, stand_in)
        return judge_margins(STUDY, ROW)

    return judge


@pytest.mark.parametrize("speed_mps", SPEEDS_MPS)
@pytest.mark.parametrize("name", AT_SHARE)
def test_one_margin_of_one_rider_at_one_speed_decides(judged, name, speed_mps):
    grades = [
        judged(at=speed_mps, **{name: AT_SHARE[name](share)}).grade for share in (1.01, 0.9, 0.7)
    ]

    assert grades == [Grade.PASS, Grade.MARGINAL, Grade.FAIL]


@pytest.mark.parametrize("name", AT_SHARE)
def test_one_draw_of_the_tolerances_may_have_four_fifths_of_each_margin(judged, name):
    grades = [judged(at="draw", **{name: AT_SHARE[name](share)}).grade for share in (0.85, 0.75)]

    assert grades == [Grade.PASS, Grade.MARGINAL]
    assert judged.drawn_at == (min(SPEEDS_MPS), max(SPEEDS_MPS))


@pytest.mark.parametrize("place", [*SPEEDS_MPS, "draw"])
def test_one_unstable_loop_fails_whatever_its_margins(judged, place):
    verdict = judged(at=place, n_unstable=2)

    assert verdict.grade is Grade.FAIL
    assert verdict.found.count("the loop is UNSTABLE") == 1
    told = "max_sensitivity_in_tolerances" if place == "draw" else "max_sensitivity"
    assert verdict.numbers[told] > 1e6
    assert "change inner_gain_a_per_deg" in verdict.change
    assert "warned before" not in verdict.change
    short = judged(at=place, n_unstable=2, balanced_deg=5.0)
    assert all(
        change in short.change for change in ("change inner_gain_a_per_deg", "warned before")
    )


def test_the_least_margins_are_told(judged):
    verdict = judged(at=5.0, modulus=0.625, phase_deg=31.4, gain_up_ratio=1.75, delay_s=0.0042)

    assert verdict.numbers["max_sensitivity"] == pytest.approx(1.6)
    assert verdict.numbers["phase_margin_deg"] == pytest.approx(31.4)
    assert verdict.numbers["gain_margin_ratio"] == pytest.approx(1.75)
    assert verdict.numbers["delay_margin_s"] == pytest.approx(0.0042)
    in_draw = judged(at="draw", modulus=0.5)
    assert in_draw.numbers["max_sensitivity_in_tolerances"] == pytest.approx(2.0)
    assert (
        "largest sensitivity 1.60, phase margin 31 deg, gain margin x1.75, delay margin 4.2 ms"
        in verdict.found
    )


def test_a_long_delay_margin_counts_as_none_that_is_asked(judged):
    assert judged().numbers["delay_margin_s"] == 0.02
    assert judged(at=5.0, phase_deg=math.inf, delay_s=math.inf).grade is Grade.PASS


def test_the_current_is_looked_at_over_the_speeds_of_the_riding_day(judged):
    """With the least gain that balances: the whole one over the gain margin down."""
    fast_mps = STUDY.riding_day.fast_mps
    judged(at=0.5 * fast_mps, n_unstable=2)

    least_gains, speeds_mps = judged.asked

    assert speeds_mps == pytest.approx([0.25 * fast_mps, 0.5 * fast_mps, 0.75 * fast_mps, fast_mps])
    stiffest = loop_gains(ROW[None, :]).stiffness_a_per_deg.max()
    expected = np.full((4, len(STUDY.every_rider)), stiffest / SETTINGS.gain_margin_ratio**2)
    expected[1, -1] = np.inf
    np.testing.assert_allclose(least_gains, expected)


def test_the_current_that_is_left_decides_too(judged):
    nose_deg = STUDY.board.frame.nose_contact_deg
    verdicts = [judged(balanced_deg=share * nose_deg) for share in (1.0, 0.9, 0.4)]

    assert [verdict.grade for verdict in verdicts] == [Grade.PASS, Grade.MARGINAL, Grade.FAIL]
    assert verdicts[0].change == ""
    assert all(verdict.change.startswith("raise reserve_warning") for verdict in verdicts[1:])
